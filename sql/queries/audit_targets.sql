-- The range that each audited lot is judged against, and who set it.
-- grain: one quantity of one lot in one span of policy (and stage); valid_to is exclusive. key: site_id, lot_key, quantity, valid_from
select t.* exclude (source_url, how_known, unused_group, unused_low, unused_high)
from lot_targets as t
inner join audit_lots as a on t.site_id = a.site_id and t.lot_key = a.lot_key
order by t.site_id, t.lot_key, t.quantity, t.valid_from
