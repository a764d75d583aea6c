-- What a forecast needs of each standing lot.
-- grain: one quantity of one standing lot. key: site_id, lot_key, quantity
-- inputs: standing_lots, lot_targets
select
    l.site_id,
    l.lot_key,
    t.quantity,
    t.low::double as low,
    t.high::double as high,
    l.ends_on,
    l.interval_days
from standing_lots as l
inner join lot_targets as t
    on l.site_id = t.site_id and l.lot_key = t.lot_key and l.as_of >= t.valid_from and l.as_of < t.valid_to
