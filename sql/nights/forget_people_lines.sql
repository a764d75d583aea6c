-- People of files that are read again.
delete from people_lines
where list_contains($file_ids, file_id)
