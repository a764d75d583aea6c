-- Files that are read again may hold the lines of files that stay as they were: the first of those takes each line over.
create or replace temp table heirs as
select
    same_as_file_id as old_file_id,
    same_as_record_no as old_record_no,
    min(file_id) as file_id,
    arg_min(record_no, file_id) as record_no
from records
where list_contains($file_ids, same_as_file_id) and not list_contains($file_ids, file_id)
group by same_as_file_id, same_as_record_no
