-- The meters of each sampling, and what is to be said of each on that day.
-- grain: one meter of one sampling, and a row without one where a reading names none. key: site_id, lot_key, sampled_on, purpose, meter_id
-- inputs: usable_readings, meter_days
-- is_checked: accepted that day, whatever its buffers. check_*, doubt_*: as in meter_days
select
    r.site_id,
    r.lot_key,
    r.sampled_on,
    r.purpose,
    r.meter_id,
    coalesce(any_value(d.is_calibrated), false) as is_calibrated,
    coalesce(any_value(d.is_checked), false) as is_checked,
    coalesce(any_value(d.is_in_doubt), false) as is_in_doubt,
    any_value(d.lowest_ph) as lowest_ph,
    any_value(d.highest_ph) as highest_ph,
    any_value(d.lowest_buffer) as lowest_buffer,
    any_value(d.highest_buffer) as highest_buffer,
    any_value(d.check_file_id) as check_file_id,
    any_value(d.check_record_no) as check_record_no,
    any_value(d.check_stage) as check_stage,
    any_value(d.doubt_file_id) as doubt_file_id,
    any_value(d.doubt_record_no) as doubt_record_no,
    any_value(d.doubt_stage) as doubt_stage,
    any_value(d.doubt_on) as doubt_on
from usable_readings as r
left join meter_days as d on r.site_id = d.site_id and r.meter_id = d.meter_id and r.sampled_on = d.used_on
group by r.site_id, r.lot_key, r.sampled_on, r.purpose, r.meter_id
