-- The lots as the sites' newest lists know them.
-- grain: one lot. key: site_id, lot_key (the code in lower case)
-- inputs: record_versions, lot_lines, record_problems
-- A lot whose line cannot be used is kept with is_usable false, so that its readings can say why they wait.
select
    v.site_id,
    v.line_key as lot_key,
    l.lot_code as lot_id,
    v.file_id,
    v.record_no,
    p.sentence is null as is_usable,
    p.sentence as unusable_sentence,
    l.house,
    l.bench,
    l.crop,
    lower(trim(l.crop)) as crop_key,
    l.cultivar,
    l.container_class,
    l.started_on,
    l.start_kind,
    l.ends_on,
    l.plants,
    l.grower_id,
    l.substrate,
    l.irrigation,
    l.feed_mode
from record_versions as v
inner join lot_lines as l on v.file_id = l.file_id and v.record_no = l.record_no
left join record_problems as p on v.file_id = p.file_id and v.record_no = p.record_no and p.problem_no = 1
where v.kind = 'lots' and v.version = 'current' and v.line_key is not null
qualify row_number() over (partition by v.site_id, v.line_key order by v.file_id desc, v.record_no desc) = 1
