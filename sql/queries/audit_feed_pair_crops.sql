-- Crops that the audited sites' policies want read in pairs around a feeding.
-- grain: one crop in one span of days; valid_to is exclusive. key: site_id, valid_from, crop_key
select o.*
from policy_feed_pair_crops as o
cross join audit_period as p
where p.site_id is null or o.site_id = p.site_id
order by o.site_id, o.valid_from, o.crop_key
