-- The heir of a line holds its text and cells and repeats nothing any more.
update records
set text = o.text, content = o.content, cells = o.cells, same_as_file_id = null, same_as_record_no = null
from heirs as h
inner join records as o on h.old_file_id = o.file_id and h.old_record_no = o.record_no
where records.file_id = h.file_id and records.record_no = h.record_no
