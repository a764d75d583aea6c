-- Samplings of standing lots, oldest first.
-- grain: one sampling. key: site_id, lot_key, sampled_on, purpose
select s.*
from samplings as s
inner join standing_lots as l on s.site_id = l.site_id and s.lot_key = l.lot_key
order by s.site_id, s.lot_key, s.sampled_on, s.purpose
