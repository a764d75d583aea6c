-- Data records of some files, by their first physical line, with the place of their values.
select
    file_id,
    line_from,
    same_as_file_id is null as is_first,
    coalesce(same_as_file_id, file_id) as at_file_id,
    coalesce(same_as_record_no, record_no) as at_record_no
from records
where kind = 'data' and list_contains($file_ids, file_id)
