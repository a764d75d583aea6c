-- What was done to a lot to mend its pH or EC.
-- grain: one accepted line on a treatment and one lot that it was done to. key: file_id, record_no, lot_key
-- inputs: record_fates, treatment_lines, treatment_lots
-- is_by_place: the line names a house or bench, and all lots that stood there were treated
select
    f.site_id,
    m.lot_key,
    d.treated_on,
    d.treated_time,
    d.treatment,
    d.product,
    d.rate,
    d.person,
    d.note,
    m.is_by_place,
    d.house,
    d.bench,
    f.file_id,
    f.record_no
from record_fates as f
inner join treatment_lines as d on f.file_id = d.file_id and f.record_no = d.record_no
inner join treatment_lots as m on f.file_id = m.file_id and f.record_no = m.record_no
where f.fate = 'accepted'
