-- The lot that somebody asks about, by its code in any case.
-- grain: one lot. key: site_id, lot_key. parameters: site_id, lot_key
select
    l.site_id,
    l.lot_key,
    l.lot_id,
    l.crop,
    l.cultivar,
    l.house,
    l.container_class,
    f.name as file,
    r.line_from as line,
    r.cells,
    f.export_no,
    f.header
from current_lots as l
inner join files as f on l.file_id = f.file_id
inner join records as r on l.file_id = r.file_id and l.record_no = r.record_no
where l.site_id = $site_id and l.lot_key = $lot_key
