-- What the lines that were taken up today had waited for.
-- grain: one cause and lot code of one site that released records. key: site_id, cause, lot_code
-- inputs: released_lines, reading_lines
select
    h.site_id,
    h.cause,
    coalesce(any_value(l.lot_code), '') as lot_code,
    count(*)::integer as records
from released_lines as h
left join reading_lines as l on h.file_id = l.file_id and h.record_no = l.record_no
group by h.site_id, h.cause, lower(l.lot_code)
