-- What the lines of some files are taken for before they are read again, by their place in the file: numbers of records may move.
create or replace temp table lines_before as
select
    r.file_id,
    r.line_from,
    h.fate,
    h.cause
from records as r
inner join fate_history as h on r.file_id = h.file_id and r.record_no = h.record_no
where h.until_night is null and list_contains($file_ids, r.file_id)
