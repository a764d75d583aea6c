-- Tonight's row, completed by finish_night.
insert into nights (night_no, as_of, leachbook_version, settings_digest, new_files, new_records)
values ($night_no, $as_of, $version, $settings_digest, 0, 0)
