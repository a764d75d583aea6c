-- Readings of files that are read again.
delete from reading_lines
where list_contains($file_ids, file_id)
