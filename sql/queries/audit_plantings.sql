-- Planted lots beside the lot list, where the site sends a planting or shipping list.
-- grain: one planted lot of the period. key: site_id, lot_id
select
    n.site_id,
    n.lot_id,
    n.crop,
    n.planted_on,
    n.ships_on,
    n.plants,
    n.is_listed,
    f.file_id,
    f.name as file,
    r.line_from as line
from plantings as n
cross join audit_period as p
inner join files as f on n.file_id = f.file_id
inner join records as r on n.file_id = r.file_id and n.record_no = r.record_no
where
    coalesce(n.planted_on, p.to_on) <= p.to_on
    and coalesce(n.ships_on, p.from_on) >= p.from_on
    and (p.site_id is null or n.site_id = p.site_id)
order by n.site_id, n.lot_id
