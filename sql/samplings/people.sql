-- Who samples at a site, and when they were trained.
-- grain: one person. key: site_id, person_key (the name in lower case, as readings name a sampler)
-- inputs: record_fates, people_lines
select
    f.site_id,
    lower(d.name) as person_key,
    d.name,
    d.role,
    d.trained_on,
    d.trained_by,
    d.until_on,
    d.note,
    f.file_id,
    f.record_no
from record_fates as f
inner join people_lines as d on f.file_id = d.file_id and f.record_no = d.record_no
where f.fate = 'accepted'
qualify row_number() over (partition by f.site_id, lower(d.name) order by f.file_id desc, f.record_no desc) = 1
