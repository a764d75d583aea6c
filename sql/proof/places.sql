-- Where one record stands, or without a number its file, for naming it.
select
    f.site_id,
    f.name,
    r.line_from
from files as f
left join records as r on f.file_id = r.file_id and r.record_no = $record_no
where f.file_id = $file_id
