-- Feed checks of files that are read again.
delete from feed_check_lines
where list_contains($file_ids, file_id)
