-- Which head grower answers for which audited lot.
-- grain: one grower of one lot. key: site_id, lot_key, grower_id
-- inputs: lot_growers, audit_lots
select g.*
from lot_growers as g
inner join audit_lots as a on g.site_id = a.site_id and g.lot_key = a.lot_key
