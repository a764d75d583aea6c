-- Every held record with its place.
-- grain: one held record. key: file, line
select
    h.site_id,
    h.cause,
    h.what,
    regexp_replace(coalesce(h.detail, ''), '"[^"]*"|[0-9]+([.,][0-9]+)*', '#', 'g') as likeness,
    f.name as file,
    r.line_from as line,
    r.text
from record_fates as h
inner join files as f on h.file_id = f.file_id
inner join records as r on h.file_id = r.file_id and h.record_no = r.record_no
where h.fate = 'held'
order by h.site_id, h.cause, h.what, f.file_id, r.line_from
