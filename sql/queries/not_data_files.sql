-- How many lines of each of a site's newest files are no data.
-- grain: one file. key: file_id
-- rule: the newest files of a site are those of the last day on which it sent any.
with
newest as (
    select site_id, max(received_on) as received_on
    from files
    group by site_id
)

select
    f.site_id,
    f.file_id,
    f.name as file,
    f.received_on,
    count(*) filter (where r.kind not in ('data', 'blank', 'not_filled_in')) as set_aside,
    count(*) filter (where r.kind = 'blank') as blank,
    count(*) filter (where r.kind = 'not_filled_in') as not_filled_in,
    coalesce(list(r.line_from order by r.line_from) filter (where r.kind = 'blank'), []) as blank_at,
    coalesce(list(r.line_from order by r.line_from) filter (where r.kind = 'not_filled_in'), []) as not_filled_in_at
from files as f
inner join newest as n on f.site_id = n.site_id and f.received_on = n.received_on
inner join records as r on f.file_id = r.file_id
where r.kind <> 'data'
group by all
order by f.site_id, f.file_id
