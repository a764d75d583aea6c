-- Which lots a current line on a treatment speaks of: the lot that it names, or every lot that stood at its place.
-- grain: one lot of one line; a line whose place fits no lot has one row without a lot. key: file_id, record_no, lot_key
-- inputs: record_versions, treatment_lines, lot_facts
-- rule (ours): what is done in a house or on a bench is done to all lots that stand there that day, of that crop where one
-- is named. A reading is of one lot; a treatment need not be.
with
lines as (
    select
        v.site_id,
        d.file_id,
        d.record_no,
        lower(d.lot_code) as lot_key,
        d.house,
        d.bench,
        d.crop,
        d.treated_on as on_day
    from record_versions as v
    inner join treatment_lines as d on v.file_id = d.file_id and v.record_no = d.record_no
    where v.kind = 'treatments' and v.version = 'current'
)

select
    n.site_id,
    n.file_id,
    n.record_no,
    coalesce(n.lot_key, l.lot_key) as lot_key,
    (n.lot_key is null) as is_by_place
from lines as n
left join lot_facts as l
    on
        n.lot_key is null
        and l.is_usable
        and n.site_id = l.site_id
        and lower(n.house) = lower(l.house)
        and (n.bench is null or lower(n.bench) = lower(l.bench))
        and (n.crop is null or lower(n.crop) = l.crop_key)
        and n.on_day >= l.valid_from
        and n.on_day < l.valid_to
        and n.on_day >= l.started_on
        and n.on_day <= coalesce(l.ends_on, date '9999-12-31')
