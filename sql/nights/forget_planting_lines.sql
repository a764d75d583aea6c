-- Planting lists of files that are read again.
delete from planting_lines
where list_contains($file_ids, file_id)
