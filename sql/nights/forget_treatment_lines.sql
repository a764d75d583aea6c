-- Treatments of files that are read again.
delete from treatment_lines
where list_contains($file_ids, file_id)
