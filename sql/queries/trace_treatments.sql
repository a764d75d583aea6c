-- What was done to a lot, each line with its raw cells, and from when on the lot can be read again.
-- grain: one line on a treatment of one lot. key: file, line. parameters: site_id, lot_key
select
    t.treated_on,
    t.treatment,
    t.product,
    t.rate,
    t.person,
    t.is_by_place,
    f.name as file,
    c.line_from as line,
    c.text,
    c.cells,
    f.export_no,
    f.header,
    w.treatments as all_of_day,
    w.retest_due_on,
    (w.retest_due_on - w.treated_on)::integer as longest_wait_days,
    l.before_on,
    l.after_on,
    l.lot_key is not null as is_last
from treatments as t
inner join files as f on t.file_id = f.file_id
inner join records as c on t.file_id = c.file_id and t.record_no = c.record_no
left join treatment_waits as w on t.site_id = w.site_id and t.lot_key = w.lot_key and t.treated_on = w.treated_on
left join last_treatments as l on t.site_id = l.site_id and t.lot_key = l.lot_key and t.treated_on = l.treated_on
where t.site_id = $site_id and t.lot_key = $lot_key
order by t.treated_on, t.file_id, c.line_from
