-- Held records gathered by what they wait for.
-- grain: one cause and one thing of one site, alike but for cells and figures. key: site_id, cause, what, likeness
-- inputs: record_fates, files, records, current_lots
-- near_lot: the one lot of the site whose code reads alike: O for 0, I or L for 1, without hyphens, blanks and leading zeros
with
unknown as (
    select distinct
        h.site_id,
        h.what
    from record_fates as h
    where h.fate = 'held' and h.cause = 'lot_unknown'
),

codes as (
    select
        site_id,
        what as code,
        null::varchar as lot_id
    from unknown
    union all
    select
        site_id,
        lot_id as code,
        lot_id
    from current_lots
),

shapes as (
    select
        site_id,
        code,
        lot_id,
        regexp_replace(
            regexp_replace(translate(upper(code), 'OIL', '011'), '(^|[^0-9])0+([0-9])', '\1\2', 'g'),
            '[^0-9A-Z]', '', 'g'
        ) as shape
    from codes
),

near_lots as (
    select
        u.site_id,
        u.code,
        any_value(l.lot_id) as near_lot
    from shapes as u
    inner join shapes as l on u.site_id = l.site_id and u.shape = l.shape and l.lot_id is not null
    where u.lot_id is null and u.shape <> ''
    group by u.site_id, u.code
    having count(*) = 1
)

select
    h.site_id,
    h.cause,
    h.what,
    regexp_replace(coalesce(h.detail, ''), '"[^"]*"|[0-9]+([.,][0-9]+)*', '#', 'g') as likeness,
    any_value(h.detail order by h.file_id, h.record_no) as detail,
    any_value(h.fitting_lots) as fitting_lots,
    any_value(n.near_lot) as near_lot,
    any_value(h.started_on) as started_on,
    any_value(h.ends_on) as ends_on,
    any_value(f.problem_mend) as file_mend,
    any_value(f.kind) as export_kind,
    count(*)::integer as records,
    list({ 'file': f.name, 'line': r.line_from, 'text': r.text } order by h.file_id, h.record_no)[1:3] as examples
from record_fates as h
inner join files as f on h.file_id = f.file_id
inner join records as r on h.file_id = r.file_id and h.record_no = r.record_no
left join near_lots as n on h.site_id = n.site_id and h.what = n.code and h.cause = 'lot_unknown'
where h.fate = 'held'
group by h.site_id, h.cause, h.what, likeness
