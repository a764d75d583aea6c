-- Standing lots in order of attention, each with its due.
-- grain: one standing lot. key: site_id, lot_key
-- *_now: the targets in force tonight; a sampling is judged by those of its own day
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
    p.step_ec_ms_cm::double as step_ec,
    h.low::double as ph_low_now,
    h.high::double as ph_high_now,
    e.low::double as ec_low_now,
    e.high::double as ec_high_now,
    (
        select list(g.grower_id order by g.grower_id)
        from lot_growers as g
        where g.site_id = l.site_id and g.lot_key = l.lot_key
    ) as grower_ids
from standing_lots as l
inner join attention as a on l.site_id = a.site_id and l.lot_key = a.lot_key
inner join due_states as d on l.site_id = d.site_id and l.lot_key = d.lot_key
inner join policy as p on l.site_id = p.site_id and l.as_of >= p.valid_from and l.as_of < p.valid_to
left join lot_targets as h
    on
        l.site_id = h.site_id
        and l.lot_key = h.lot_key
        and h.quantity = 'ph'
        and l.as_of >= h.valid_from
        and l.as_of < h.valid_to
left join lot_targets as e
    on
        l.site_id = e.site_id
        and l.lot_key = e.lot_key
        and e.quantity = 'ec'
        and l.as_of >= e.valid_from
        and l.as_of < e.valid_to
order by a.rank
