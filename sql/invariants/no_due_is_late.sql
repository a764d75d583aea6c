-- No due lies after the day of its rule, on or before what caused it, or in a waiting time, and none is listed twice; nothing is
-- planned before the as-of day, after a lot's end or in place of what is excused.
select
    site_id,
    lot_key,
    why || ' is due after the day of its rule, too early, or twice' as remark
from dues
group by site_id, lot_key, why, due_on
having
    count(*) <> 1
    or bool_or(due_on > rule_on or due_on <= caused_on or due_on < coalesce(not_before, due_on))
    or bool_or(is_excused = (nth is not null))
union all
select
    p.site_id,
    p.lot_key,
    'a sampling is planned outside its time or although it is excused' as remark
from sampling_plan as p
left join standing_lots as l on p.site_id = l.site_id and p.lot_key = l.lot_key
left join dues as d
    on
        p.site_id = d.site_id
        and p.lot_key = d.lot_key
        and p.why = d.why
        and p.due_on = d.due_on
        and d.is_excused
where l.lot_key is null or p.plan_on < l.as_of or p.plan_on > l.ends_on or d.why is not null
