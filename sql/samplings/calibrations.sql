-- Meter checks, and whether each can be accepted.
-- grain: one calibration line. key: file_id, record_no
-- inputs: record_fates, calibration_lines, policy
-- rule: slope 85-105 % and offset at pH 7 within 30 mV (published: worked sheet "How to calculate offset and slope");
-- EC standard as found within 5 % (house default); a check that its own site calls failed is failed.
select
    f.site_id,
    c.meter_id,
    c.calibrated_on,
    c.calibrated_time,
    f.file_id,
    f.record_no,
    c.slope_pct,
    c.offset_mv,
    c.ec_standard_ms_cm,
    c.ec_found_ms_cm,
    list_min(regexp_extract_all(replace(c.buffers, ',', '.'), '\d+(?:\.\d+)?')::decimal(6, 3)[]) as lowest_buffer,
    list_max(regexp_extract_all(replace(c.buffers, ',', '.'), '\d+(?:\.\d+)?')::decimal(6, 3)[]) as highest_buffer,
    coalesce(c.passed, true)
    and coalesce(c.slope_pct between p.slope_low_pct and p.slope_high_pct, true)
    and coalesce(abs(c.offset_mv) <= p.offset_limit_mv, true)
    and coalesce(
        abs(c.ec_found_ms_cm - c.ec_standard_ms_cm) <= p.ec_standard_share * c.ec_standard_ms_cm, true
    ) as is_accepted,
    coalesce(c.slope_pct < p.slope_low_pct or c.slope_pct > p.slope_high_pct, false) as is_slope_failed,
    coalesce(abs(c.offset_mv) > p.offset_limit_mv, false) as is_offset_failed,
    coalesce(
        abs(c.ec_found_ms_cm - c.ec_standard_ms_cm) > p.ec_standard_share * c.ec_standard_ms_cm, false
    ) as is_ec_failed,
    coalesce(c.slope_pct < p.slope_warn_low_pct or c.slope_pct > p.slope_warn_high_pct, false) as is_slope_marginal
from record_fates as f
inner join calibration_lines as c on f.file_id = c.file_id and f.record_no = c.record_no
inner join policy as p
    on f.site_id = p.site_id and c.calibrated_on >= p.valid_from and c.calibrated_on < p.valid_to
where f.fate = 'accepted'
