-- What is planned for each of the next 28 days: lots, pots and minutes. A day without a sampling has no row.
-- grain: one day of one site. key: site_id, plan_on
-- week_no: 1 for the as-of day and the six days after it. Minutes are the policy's for a pot.
select
    p.site_id,
    ((p.plan_on - t.as_of) // 7 + 1)::integer as week_no,
    p.plan_on,
    count(distinct p.lot_key)::integer as lots,
    sum(p.pots)::integer as pots,
    sum(p.minutes) as minutes
from sampling_plan as p
cross join run as t
group by p.site_id, p.plan_on, t.as_of
order by p.site_id, p.plan_on
