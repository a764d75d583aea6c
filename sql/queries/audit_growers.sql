-- The head growers of the audited sites by the settings of that night, with the houses that are hers or his.
-- grain: one house of one grower; house_key null: all houses. key: site_id, grower_id, house_key
select g.*
from grower_houses as g
cross join audit_period as p
where p.site_id is null or g.site_id = p.site_id
order by g.site_id, g.grower_id, g.house_key
