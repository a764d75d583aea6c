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
    d.rule_on,
    d.caused_on,
    d.interval_days as due_interval_days,
    d.purposes,
    d.pots,
    d.state,
    d.days_overdue,
    d.excused_until,
    d.excuse_reason,
    d.excused_by,
    d.is_excused_late,
    p.precision_ph::double as precision_ph,
    p.precision_ec_ms_cm::double as precision_ec,
    p.step_ph::double as step_ph,
    p.step_ec_ms_cm::double as step_ec
from standing_lots as l
inner join attention as a on l.site_id = a.site_id and l.lot_key = a.lot_key
inner join due_states as d on l.site_id = d.site_id and l.lot_key = d.lot_key
inner join policy as p on l.site_id = p.site_id and l.as_of >= p.valid_from and l.as_of < p.valid_to
order by a.rank
