-- What was done to the audited lots to mend pH or EC: what waits and retests hang on.
-- grain: one accepted line on a treatment and one lot that it was done to. key: file_id, record_no, lot_key
-- Those after the last day that is looked at stand here too: one that takes the place of a retest may be among them.
select
    t.site_id,
    a.lot_id,
    t.lot_key,
    t.treated_on,
    t.treatment,
    t.product,
    t.rate,
    t.person,
    t.is_by_place,
    t.file_id,
    t.record_no,
    f.name as file,
    r.line_from as line,
    f.received_on
from treatments as t
inner join audit_lots as a on t.site_id = a.site_id and t.lot_key = a.lot_key
inner join files as f on t.file_id = f.file_id
inner join records as r on t.file_id = r.file_id and t.record_no = r.record_no
order by t.site_id, a.lot_id, t.treated_on, t.file_id, t.record_no
