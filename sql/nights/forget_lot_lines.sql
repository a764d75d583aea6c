-- Lots of files that are read again.
delete from lot_lines
where list_contains($file_ids, file_id)
