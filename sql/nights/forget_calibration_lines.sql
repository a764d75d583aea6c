-- Calibrations of files that are read again.
delete from calibration_lines
where list_contains($file_ids, file_id)
