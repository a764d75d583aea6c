-- From which day on the audited sites show their meter checks.
-- grain: one site that sends any. key: site_id
select c.*
from checks_shown as c
cross join audit_period as p
where p.site_id is null or c.site_id = p.site_id
order by c.site_id
