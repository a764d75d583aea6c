-- Checks of source water and feed that tonight's judgement takes, each with its line.
-- grain: one check of a site and one container class it is judged for. parameters: site_id
-- units: EC mS/cm, alkalinity mg/L CaCO3. container_class, low, high, acid_above, source: of source water with an alkalinity
with
taken as (
    select
        file_id,
        record_no
    from judged_waters
    where site_id = $site_id
    union
    select
        water_file_id,
        water_record_no
    from judged_feeds
    where site_id = $site_id and water_file_id is not null
    union
    select
        file_id,
        record_no
    from judged_feeds
    where site_id = $site_id
)

select
    f.*,
    l.name as file,
    r.line_from as line,
    r.text,
    r.cells,
    l.export_no,
    l.header,
    p.ec_alpha_per_c,
    p.feed_tolerance_share,
    j.water_on,
    j.water_ec_ms_cm,
    j.expected_ec_ms_cm,
    j.added_ec_ms_cm,
    j.share,
    coalesce(j.word, j.reason) as feed_word,
    w.container_class,
    w.low,
    w.high,
    w.acid_above,
    w.source,
    w.word as water_word
from taken as t
inner join feed_checks as f on t.file_id = f.file_id and t.record_no = f.record_no
inner join files as l on f.file_id = l.file_id
inner join records as r on f.file_id = r.file_id and f.record_no = r.record_no
inner join policy as p on f.site_id = p.site_id and f.checked_on >= p.valid_from and f.checked_on < p.valid_to
left join judged_feeds as j on f.file_id = j.file_id and f.record_no = j.record_no
left join judged_waters as w on f.file_id = w.file_id and f.record_no = w.record_no
order by f.place desc, f.checked_on asc, f.file_id asc, f.record_no asc, w.container_class asc
