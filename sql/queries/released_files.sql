-- Files whose held lines were taken up today, with these lines.
-- grain: one file. key: site_id, file, received_on
select
    r.site_id,
    f.name as file,
    f.received_on,
    list(distinct r.line_from order by r.line_from) as lines
from released_lines as r
inner join files as f on r.file_id = f.file_id
group by r.site_id, f.file_id, f.name, f.received_on
order by r.site_id, f.file_id
