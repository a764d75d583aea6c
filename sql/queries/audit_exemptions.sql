-- Excuses that touch an audited period, with reason, name, and when each was entered.
-- grain: one excuse and one lot that it speaks of. key: file_id, record_no, lot_key
select
    e.site_id,
    a.lot_id,
    e.lot_key,
    e.purpose,
    e.from_on,
    e.until_on,
    e.reason,
    e.person,
    e.entered_on,
    e.is_entered_on_stated,
    e.note,
    e.is_by_place,
    e.file_id,
    e.record_no,
    f.name as file,
    r.line_from as line
from exemptions as e
inner join audit_lots as a on e.site_id = a.site_id and e.lot_key = a.lot_key
cross join audit_period as p
inner join files as f on e.file_id = f.file_id
inner join records as r on e.file_id = r.file_id and e.record_no = r.record_no
where e.until_on >= p.from_on and e.from_on <= p.to_on
order by e.site_id, a.lot_id, e.from_on, e.file_id, e.record_no
