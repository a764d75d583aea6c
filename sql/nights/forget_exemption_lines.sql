-- Exemptions of files that are read again.
delete from exemption_lines
where list_contains($file_ids, file_id)
