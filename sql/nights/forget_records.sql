-- Records of files that are read again.
delete from records
where list_contains($file_ids, file_id)
