-- Every line of a lot's readings on one day with its raw cells, those that no longer rule too (found by their lot code).
-- Repeats of a line that is there already are left out.
-- grain: one reading line. key: file, line. parameters: site_id, lot_key, sampled_on
select
    r.file_id,
    r.record_no,
    f.name as file,
    f.export_no,
    f.header,
    c.line_from,
    c.line_to,
    c.text,
    c.cells,
    t.fate,
    t.cause,
    t.detail,
    b.name as by_file,
    s.line_from as by_line,
    coalesce(u.purpose, r.purpose) as purpose,
    r.n_pots,
    r.ph,
    r.ec_ms_cm as ec_recorded_ms_cm,
    u.ec_25_ms_cm,
    p.ec_alpha_per_c,
    r.temperature_c,
    r.ec_compensated,
    r.leachate_ml,
    u.leachate_low_ml,
    u.leachate_high_ml,
    u.is_usable_ph,
    u.is_usable_ec,
    u.is_over_collected,
    u.is_under_collected,
    u.why_not_ec
from reading_lines as r
inner join records as c on r.file_id = c.file_id and r.record_no = c.record_no
inner join files as f on r.file_id = f.file_id
inner join record_fates as t on r.file_id = t.file_id and r.record_no = t.record_no
left join record_versions as v on r.file_id = v.file_id and r.record_no = v.record_no
left join files as b on v.ruling_file_id = b.file_id
left join records as s on v.ruling_file_id = s.file_id and v.ruling_record_no = s.record_no
left join reading_lots as m on r.file_id = m.file_id and r.record_no = m.record_no
left join usable_readings as u on r.file_id = u.file_id and r.record_no = u.record_no
left join policy as p on f.site_id = p.site_id and r.sampled_on >= p.valid_from and r.sampled_on < p.valid_to
where
    f.site_id = $site_id
    and coalesce(m.lot_key, lower(r.lot_code)) = $lot_key
    and r.sampled_on = $sampled_on
    and t.fate <> 'repeated'
order by f.file_id, c.line_from
