-- Dues up to a day that a sampling sheet does not ask for, with what keeps them off it.
-- grain: one rule of one standing lot, with its first such due. key: site_id, lot_key, why
-- $until: the last day whose dues belong on the sheet
-- rules (ours): an excuse is told as long as it holds on the as-of date; a lot that ships before its due day is told as shipping.
select
    l.site_id,
    l.lot_key,
    l.lot_id,
    l.house,
    l.crop,
    d.why,
    d.due_on,
    if(d.is_excused, 'excused', 'ships_first') as because,
    if(d.is_excused, d.excused_until, l.ends_on) as because_until,
    d.excuse_reason as reason,
    d.excused_by as person
from standing_lots as l
inner join dues as d on l.site_id = d.site_id and l.lot_key = d.lot_key
where
    d.due_on <= $until
    and if(d.is_excused, d.excused_until >= l.as_of, d.due_on > l.ends_on)
qualify row_number() over (partition by l.site_id, l.lot_key, d.why order by d.due_on asc, d.excused_until desc) = 1
order by l.site_id, l.lot_key, d.due_on, d.why
