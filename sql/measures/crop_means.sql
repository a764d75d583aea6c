-- Each lot's last counting mean, for holding sites against each other.
-- grain: one quantity of one standing lot read in the last 28 days. key: site_id, lot_key, quantity
-- inputs: standing_lots, last_verdicts; code and day are for the trace
-- rule (ours): lots are the units, since the pots of one lot are no independent word on a site.
select
    l.site_id,
    l.lot_key,
    l.lot_id,
    l.crop_key,
    l.container_class,
    v.quantity,
    v.sampled_on,
    v.mean
from standing_lots as l
inner join last_verdicts as v on l.site_id = v.site_id and l.lot_key = v.lot_key
where v.mean is not null and v.is_counting and v.sampled_on >= l.as_of - 28 and (v.quantity = 'ph' or v.is_ec_countable)
order by all
