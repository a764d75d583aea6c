-- Records that were held before the as-of date and are accepted on it.
-- grain: one cause and lot code of one site that released records. key: site_id, cause, lot_code
-- inputs: fate_history, nights, run, record_fates, reading_lines
select
    f.site_id,
    h.cause,
    coalesce(any_value(l.lot_code), '') as lot_code,
    count(distinct concat_ws('.', h.file_id, h.record_no))::integer as records
from fate_history as h
inner join nights as n on h.until_night = n.night_no
cross join run as t
inner join record_fates as f on h.file_id = f.file_id and h.record_no = f.record_no
left join reading_lines as l on h.file_id = l.file_id and h.record_no = l.record_no
where h.fate = 'held' and n.as_of = t.as_of and f.fate = 'accepted'
group by f.site_id, h.cause, lower(l.lot_code)
