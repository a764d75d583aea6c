-- The plain values of the policies of the audited sites, one column each: what waits, rounds and pairs are worked out with.
-- grain: one site and one span of days on which the same policy is in force; valid_to is exclusive. key: site_id, valid_from
select o.*
from policy as o
cross join audit_period as p
where p.site_id is null or o.site_id = p.site_id
order by o.site_id, o.valid_from
