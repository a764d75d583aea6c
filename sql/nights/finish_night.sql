-- What tonight brought.
update nights
set facts_digest = $digest, new_files = $files, new_records = $records
where night_no = $night_no
