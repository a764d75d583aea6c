-- Each standing lot has one level, one rank and one ruling due.
select l.site_id, l.lot_key, 'has not one level and one due' as remark
from standing_lots as l
left join attention as a on l.site_id = a.site_id and l.lot_key = a.lot_key
left join due_states as d on l.site_id = d.site_id and l.lot_key = d.lot_key
group by l.site_id, l.lot_key
having count(a.rank) <> 1 or count(d.due_on) <> 1
