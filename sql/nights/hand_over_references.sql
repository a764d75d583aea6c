-- Records that repeated a line of a file that is read again repeat the line of its heir.
update records
set same_as_file_id = h.file_id, same_as_record_no = h.record_no
from heirs as h
where
    records.same_as_file_id = h.old_file_id
    and records.same_as_record_no = h.old_record_no
    and records.file_id > h.file_id
    and not list_contains($file_ids, records.file_id)
