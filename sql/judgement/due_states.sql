-- The due that rules, and how it stands on the as-of date.
-- grain: one standing lot. key: site_id, lot_key
-- inputs: standing_lots, dues
-- rule: the earliest due rules; due this week is today and the six days after it.
select
    l.site_id,
    l.lot_key,
    d.why,
    d.due_on,
    d.interval_days,
    l.min_usable_pots as pots,
    case
        when d.due_on > l.ends_on then 'ships_first'
        when d.due_on < l.as_of and l.last_any_on is null then 'never_sampled'
        when d.due_on < l.as_of then 'overdue'
        when d.due_on <= l.as_of + 6 then 'due_this_week'
        else 'not_yet'
    end as state,
    case when d.due_on < l.as_of and d.due_on <= coalesce(l.ends_on, d.due_on) then l.as_of - d.due_on end::integer
        as days_overdue
from standing_lots as l
inner join dues as d on l.site_id = d.site_id and l.lot_key = d.lot_key and d.nth = 1
