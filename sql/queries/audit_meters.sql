-- Every meter check of an audited period with slope and offset, and whether it was accepted.
-- grain: one stage of one check. key: file_id, line, stage
select
    c.site_id,
    c.meter_id,
    c.calibrated_on,
    c.calibrated_time,
    c.stage,
    c.slope_pct,
    c.offset_mv,
    c.is_slope_computed,
    c.worst_error_ph,
    c.ec_standard_ms_cm,
    c.ec_found_ms_cm,
    c.is_accepted,
    c.is_slope_failed,
    c.is_offset_failed,
    c.is_buffer_failed,
    c.is_ec_failed,
    c.person,
    c.solution,
    c.solution_expires_on,
    l.slope_low_pct,
    l.slope_high_pct,
    l.offset_limit_mv,
    f.file_id,
    f.name as file,
    r.line_from as line,
    r.text
from calibrations as c
cross join audit_period as p
inner join policy as l on c.site_id = l.site_id and c.calibrated_on >= l.valid_from and c.calibrated_on < l.valid_to
inner join files as f on c.file_id = f.file_id
inner join records as r on c.file_id = r.file_id and c.record_no = r.record_no
where c.calibrated_on between p.from_on and p.to_on and (p.site_id is null or c.site_id = p.site_id)
order by
    c.site_id, lower(c.meter_id), c.calibrated_on, c.calibrated_time nulls first, c.stage_no, f.file_id, r.line_from
