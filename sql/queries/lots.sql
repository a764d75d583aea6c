-- Standing lots in order of attention, each with its due.
-- grain: one standing lot. key: site_id, lot_key
select
    l.*,
    a.level,
    a.score,
    a.rank,
    a.days_to_end,
    d.why,
    d.due_on,
    d.interval_days as due_interval_days,
    d.pots,
    d.state,
    d.days_overdue
from standing_lots as l
inner join attention as a on l.site_id = a.site_id and l.lot_key = a.lot_key
inner join due_states as d on l.site_id = d.site_id and l.lot_key = d.lot_key
order by a.rank
