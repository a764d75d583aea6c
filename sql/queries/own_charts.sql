-- The last sampling of each standing lot on its own drift chart.
-- grain: one quantity of one standing lot. key: site_id, lot_key, quantity
select d.*
from drift_points as d
inner join standing_lots as l on d.site_id = l.site_id and d.lot_key = l.lot_key
qualify row_number() over (partition by d.site_id, d.lot_key, d.quantity order by d.sampled_on desc, d.segment desc) = 1
