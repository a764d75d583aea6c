-- Every due of standing lots, excused ones too, each with what was done where it is the retest after a treatment.
-- grain: one rule's due of one standing lot. key: site_id, lot_key, why, due_on
select
    d.*,
    w.treatments,
    t.as_of
from dues as d
cross join run as t
left join treatment_waits as w
    on
        d.why = 'after_treatment'
        and d.site_id = w.site_id
        and d.lot_key = w.lot_key
        and d.caused_on = w.treated_on
