-- Every line of a lot's readings on one day, accepted or held, with its raw cells.
-- grain: one reading line. key: file, line. parameters: site_id, lot_key, sampled_on
select
    f.name as file,
    f.export_no,
    c.line_from,
    c.line_to,
    c.text,
    c.cells,
    t.fate,
    t.cause,
    t.detail,
    coalesce(u.purpose, r.purpose) as purpose,
    r.n_pots,
    r.ph,
    r.ec_ms_cm as ec_recorded_ms_cm,
    u.ec_25_ms_cm,
    r.temperature_c,
    r.ec_compensated,
    r.leachate_ml,
    u.leachate_low_ml,
    u.leachate_high_ml,
    u.is_usable_ph,
    u.is_usable_ec,
    u.why_not_ec
from reading_lots as m
inner join reading_lines as r on m.file_id = r.file_id and m.record_no = r.record_no
inner join records as c on m.file_id = c.file_id and m.record_no = c.record_no
inner join files as f on m.file_id = f.file_id
inner join record_fates as t on m.file_id = t.file_id and m.record_no = t.record_no
left join usable_readings as u on m.file_id = u.file_id and m.record_no = u.record_no
where m.site_id = $site_id and m.lot_key = $lot_key and r.sampled_on = $sampled_on
order by f.file_id, c.line_from
