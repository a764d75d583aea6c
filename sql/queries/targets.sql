-- Targets in force on the as-of date.
-- grain: one quantity of one standing lot. key: site_id, lot_key, quantity
select t.*
from lot_targets as t
inner join standing_lots as l on t.site_id = l.site_id and t.lot_key = l.lot_key
where t.valid_from <= l.as_of and t.valid_to > l.as_of
