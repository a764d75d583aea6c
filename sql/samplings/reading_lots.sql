-- Which lot a current reading belongs to, by its code or by its place.
-- grain: one current line of a readings export. key: file_id, record_no
-- inputs: record_versions, reading_lines, lot_facts
-- rule: a line without a lot code finds its lot by house, bench and crop, if exactly one lot fits on that day. A lot that
-- moved is looked for where it stood that day; before a split the plants were the parent's.
with
lines as (
    select
        v.site_id,
        r.file_id,
        r.record_no,
        lower(r.lot_code) as lot_key,
        r.house,
        r.bench,
        r.crop,
        r.sampled_on
    from record_versions as v
    inner join reading_lines as r on v.file_id = r.file_id and v.record_no = r.record_no
    where v.kind = 'readings' and v.version = 'current'
),

by_place as (
    select
        n.file_id,
        n.record_no,
        count(*) as fitting_lots,
        min(l.lot_key) as lot_key
    from lines as n
    inner join lot_facts as l
        on
            n.site_id = l.site_id
            and lower(n.house) = lower(l.house)
            and (n.bench is null or lower(n.bench) = lower(l.bench))
            and (n.crop is null or lower(n.crop) = l.crop_key)
            and n.sampled_on >= l.valid_from
            and n.sampled_on < l.valid_to
            and n.sampled_on >= l.started_on
            and n.sampled_on <= coalesce(l.ends_on, date '9999-12-31')
    where n.lot_key is null and l.is_usable
    group by n.file_id, n.record_no
)

select
    n.file_id,
    n.record_no,
    n.site_id,
    case
        when n.lot_key is not null then n.lot_key
        when p.fitting_lots = 1 then p.lot_key
    end as lot_key,
    coalesce(p.fitting_lots, 0)::integer as fitting_lots
from lines as n
left join by_place as p on n.file_id = p.file_id and n.record_no = p.record_no
