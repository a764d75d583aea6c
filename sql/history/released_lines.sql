-- Records that were held before the as-of date and are accepted on it.
-- grain: one record and one cause that held it. key: file_id, record_no, cause
-- inputs: fate_history, nights, run, record_fates, records
select distinct
    f.site_id,
    h.file_id,
    h.record_no,
    h.cause,
    r.line_from
from fate_history as h
inner join nights as n on h.until_night = n.night_no
cross join run as t
inner join record_fates as f on h.file_id = f.file_id and h.record_no = f.record_no
inner join records as r on h.file_id = r.file_id and h.record_no = r.record_no
where h.fate = 'held' and n.as_of = t.as_of and f.fate = 'accepted'
