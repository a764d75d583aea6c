-- Problems of records of files that are read again.
delete from record_problems
where list_contains($file_ids, file_id)
