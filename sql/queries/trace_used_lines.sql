-- Every line that counts for a lot, of all its days, with its raw cells.
-- grain: one reading line. key: file, line. parameters: site_id, lot_key
select
    u.sampled_on,
    u.purpose,
    f.name as file,
    c.line_from as line,
    c.cells,
    f.export_no,
    f.header,
    f.received_on,
    u.sampled_time,
    u.n_pots,
    u.ph,
    u.ec_25_ms_cm,
    u.ec_recorded_ms_cm,
    u.is_usable_ph,
    u.is_usable_ec
from usable_readings as u
inner join files as f on u.file_id = f.file_id
inner join records as c on u.file_id = c.file_id and u.record_no = c.record_no
where u.site_id = $site_id and u.lot_key = $lot_key
order by u.sampled_on, u.purpose, u.file_id, c.line_from
