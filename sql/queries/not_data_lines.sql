-- Lines of the newest files that are no data, by the rule that set them aside; blank lines and those of a sheet that
-- are not filled in are only counted.
-- grain: one record that is neither data nor blank nor left blank. key: file_id, line
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
    r.line_from as line,
    r.kind as rule,
    r.text
from files as f
inner join newest as n on f.site_id = n.site_id and f.received_on = n.received_on
inner join records as r on f.file_id = r.file_id
where r.kind not in ('data', 'blank', 'not_filled_in')
order by f.site_id, f.file_id, r.line_from
