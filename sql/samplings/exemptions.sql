-- Excused samplings: which lot, for which days, why and by whom.
-- grain: one accepted excuse and one lot that it speaks of. key: file_id, record_no, lot_key
-- inputs: record_fates, exemption_lines, exemption_lots, files
-- purpose null: all purposes. from_on and until_on belong to the excuse. entered_on: as the site writes it, else the day on
-- which its line was received first.
select
    f.site_id,
    m.lot_key,
    d.purpose,
    d.from_on,
    d.until_on,
    d.reason,
    d.person,
    coalesce(d.entered_on, n.received_on) as entered_on,
    d.entered_on is not null as is_entered_on_stated,
    d.note,
    m.is_by_place,
    f.file_id,
    f.record_no
from record_fates as f
inner join exemption_lines as d on f.file_id = d.file_id and f.record_no = d.record_no
inner join exemption_lots as m on f.file_id = m.file_id and f.record_no = m.record_no
inner join files as n on f.file_id = n.file_id
where f.fate = 'accepted'
