-- The source water that tonight's judgement takes for a lot's container class, with its line.
-- grain: one check of source water. parameters: site_id, lot_key
select
    w.checked_on,
    w.alkalinity_mg_l,
    w.low,
    w.high,
    w.acid_above,
    w.source,
    w.word,
    f.name as file,
    c.line_from as line,
    c.cells,
    f.export_no,
    f.header
from judged_waters as w
inner join standing_lots as l on w.site_id = l.site_id and w.container_class = l.container_class
inner join files as f on w.file_id = f.file_id
inner join records as c on w.file_id = c.file_id and w.record_no = c.record_no
where l.site_id = $site_id and l.lot_key = $lot_key
