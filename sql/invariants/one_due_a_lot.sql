-- Each standing lot has one level, one rank and one ruling due: the earliest of those that are not excused.
select l.site_id, l.lot_key, 'has not one level and one due' as remark
from standing_lots as l
left join attention as a on l.site_id = a.site_id and l.lot_key = a.lot_key
left join due_states as d on l.site_id = d.site_id and l.lot_key = d.lot_key
group by l.site_id, l.lot_key
having count(a.rank) <> 1 or count(d.due_on) <> 1
union all
select d.site_id, d.lot_key, 'is ruled by a due that is excused or not the earliest' as remark
from due_states as d
left join dues as u on d.site_id = u.site_id and d.lot_key = u.lot_key and not u.is_excused
group by d.site_id, d.lot_key, d.due_on
having d.due_on is distinct from min(u.due_on)
