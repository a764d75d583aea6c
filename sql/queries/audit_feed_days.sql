-- Days on which the audited sites feed what is fed periodically, by the settings of that night.
-- grain: one weekday or day of one house or lot, or of all. key: site_id, house_key, lot_key, weekday, fed_on
select o.*
from feed_days as o
cross join audit_period as p
where p.site_id is null or o.site_id = p.site_id
order by o.site_id, o.house_key, o.lot_key, o.weekday, o.fed_on
