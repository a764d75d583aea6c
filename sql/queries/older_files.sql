-- Whole histories that came today and are older than one that had come before.
-- grain: one file. key: site_id, file
-- left_out: lines of it that the newer ones do not have, or have otherwise
select
    f.site_id,
    f.name as file,
    n.name as newer_file,
    count(*) filter (where v.version in ('superseded', 'withdrawn'))::integer as left_out
from file_order as o
inner join files as f on o.file_id = f.file_id
inner join run as t on f.received_on = t.as_of
inner join files as n on o.newer_file_id = n.file_id
left join record_versions as v on f.file_id = v.file_id
group by f.site_id, f.file_id, f.name, n.name
order by f.site_id, f.file_id
