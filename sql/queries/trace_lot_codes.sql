-- Codes of all lots of a site, for naming the nearest.
-- grain: one lot. parameters: site_id
select lot_id
from current_lots
where site_id = $site_id
order by lot_id
