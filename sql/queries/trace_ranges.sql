-- Every published range of one lot's crop, whether it is judged by it or not.
-- grain: one row of the tables. key: quantity, row_no. parameters: site_id, lot_key
select
    p.quantity,
    p.row_no,
    p.low,
    p.high,
    p.source,
    p.how_known
from published_ranges as p
inner join current_lots as l on p.crop_key = l.crop_key
where l.site_id = $site_id and l.lot_key = $lot_key
order by p.quantity desc, p.row_no asc
