-- The samplings of the next 28 days with their lots.
-- grain: one planned sampling. key: site_id, lot_key, plan_on, purposes
select
    p.site_id,
    p.lot_key,
    l.lot_id,
    p.house,
    p.plan_on,
    p.due_on,
    p.why,
    p.purposes,
    p.pots,
    p.minutes,
    if(p.due_on < l.as_of, l.as_of - p.due_on, null)::integer as days_overdue
from sampling_plan as p
inner join standing_lots as l on p.site_id = l.site_id and p.lot_key = l.lot_key
order by p.site_id, p.plan_on, p.house nulls first, p.lot_key, p.purposes
