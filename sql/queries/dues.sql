-- Every due of standing lots, excused ones too, each with what was done where it is the retest after a treatment.
-- grain: one rule's due of one standing lot. key: site_id, lot_key, why, due_on
-- is_on_closed_day: the site does not sample on due_on, and no day to which the due could move is open
select
    d.*,
    w.treatments,
    exists(
        select 1
        from closed_days as c
        where c.site_id = d.site_id and (c.closed_on = d.due_on or c.weekday = isodow(d.due_on))
    ) as is_on_closed_day,
    t.as_of
from dues as d
cross join run as t
left join treatment_waits as w
    on
        d.why = 'after_treatment'
        and d.site_id = w.site_id
        and d.lot_key = w.lot_key
        and d.caused_on = w.treated_on
