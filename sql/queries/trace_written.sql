-- Readings of single pots as they were written down, of the days over which a site's questions look.
-- grain: one reading line. key: file, line. parameters: site_id
-- is_in_month: within the policy's days for questions; older ones serve as what was before
select
    f.name as file,
    c.line_from as line,
    u.lot_key,
    u.sampled_on,
    trim(json_extract_string(c.cells, '$.ph')) as ph_cell,
    trim(json_extract_string(c.cells, '$.ec')) as ec_cell,
    u.ec_recorded_ms_cm::double as ec_recorded,
    u.ec_25_ms_cm::double as ec_25,
    u.sampled_on > t.as_of - p.question_days as is_in_month,
    u.sampled_on > t.as_of - 14 as is_new
from usable_readings as u
inner join files as f on u.file_id = f.file_id
inner join records as c on u.file_id = c.file_id and u.record_no = c.record_no
cross join run as t
inner join policy as p on u.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
where u.site_id = $site_id and u.n_pots = 1 and u.sampled_on > t.as_of - greatest(p.question_days, 56)
order by f.file_id, c.line_from
