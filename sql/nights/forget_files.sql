-- The files themselves, before they are loaded anew under their old numbers.
delete from files
where list_contains($file_ids, file_id)
