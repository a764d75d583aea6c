-- Days on which the audited sites do not sample, by the settings of that night.
-- grain: one weekday or day. key: site_id, weekday, closed_on
select o.*
from closed_days as o
cross join audit_period as p
where p.site_id is null or o.site_id = p.site_id
order by o.site_id, o.weekday, o.closed_on
