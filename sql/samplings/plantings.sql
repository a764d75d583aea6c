-- The site's own planting or shipping list, to see whether its lot list is complete.
-- grain: one planted lot. key: site_id, lot_key
-- inputs: record_fates, planting_lines, current_lots
-- is_listed: the lot list has the lot, on a line that can be used or not
select
    f.site_id,
    lower(d.lot_code) as lot_key,
    d.lot_code as lot_id,
    d.crop,
    d.cultivar,
    d.house,
    d.bench,
    d.planted_on,
    d.ships_on,
    d.plants,
    d.note,
    f.file_id,
    f.record_no,
    l.lot_key is not null as is_listed
from record_fates as f
inner join planting_lines as d on f.file_id = d.file_id and f.record_no = d.record_no
left join current_lots as l on f.site_id = l.site_id and lower(d.lot_code) = l.lot_key
where f.fate = 'accepted'
qualify row_number() over (partition by f.site_id, lower(d.lot_code) order by f.file_id desc, f.record_no desc) = 1
