-- Which lots a current excuse speaks of: the lot that it names, or every lot that stood at its place on one of its days.
-- grain: one lot of one line; a line whose place fits no lot has one row without a lot. key: file_id, record_no, lot_key
-- inputs: record_versions, exemption_lines, lot_facts
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
        d.from_on,
        d.until_on
    from record_versions as v
    inner join exemption_lines as d on v.file_id = d.file_id and v.record_no = d.record_no
    where v.kind = 'exemptions' and v.version = 'current'
)

select distinct
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
        and n.until_on >= greatest(l.valid_from, l.started_on)
        and n.from_on < l.valid_to
        and n.from_on <= coalesce(l.ends_on, date '9999-12-31')
