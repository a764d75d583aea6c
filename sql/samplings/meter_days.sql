-- For each day on which a meter read leachate: was it calibrated that day, and could it be trusted?
-- grain: one meter of a site on one day of use. key: site_id, meter_id, used_on
-- inputs: record_fates, reading_lines, calibrations
-- rules: buffers bracket the readings (common practice: 4 and 7), where they are written down. A failed check puts every
-- reading since the last good one in doubt (published: ISO 9001:2015 7.1.5.2, from memory), and those until the next good
-- one; readings of a day with an accepted calibration before any failed one are trusted. How a meter was found comes before
-- how it was left: found off, the readings since the last good check are in doubt; left good, those that follow are not.
-- is_checked: accepted that day, whatever its buffers; check_*: the last such check, of those whose buffers bracket first.
-- doubt_*: the check that puts the day in doubt: the last one before, where that failed, else the next one
with
used as (
    select
        f.site_id,
        r.meter_id,
        r.sampled_on as used_on,
        min(r.ph) as lowest_ph,
        max(r.ph) as highest_ph
    from record_fates as f
    inner join reading_lines as r on f.file_id = r.file_id and f.record_no = r.record_no
    where f.fate = 'accepted' and f.export_kind = 'readings' and r.meter_id is not null
    group by f.site_id, r.meter_id, r.sampled_on
),

beside as (
    select
        u.site_id,
        u.meter_id,
        u.used_on,
        c.file_id,
        c.record_no,
        c.stage,
        c.calibrated_on,
        c.calibrated_time,
        c.stage_no,
        c.is_accepted,
        c.lowest_buffer,
        c.highest_buffer,
        coalesce(c.lowest_buffer <= u.lowest_ph and c.highest_buffer >= u.highest_ph, true) as is_bracketing
    from used as u
    inner join calibrations as c on u.site_id = c.site_id and lower(u.meter_id) = lower(c.meter_id)
),

checks as (
    select
        *,
        calibrated_on = used_on and is_accepted as is_of_day,
        row_number() over (
            partition by site_id, meter_id, used_on, calibrated_on <= used_on
            order by calibrated_on desc, calibrated_time desc nulls last, stage_no desc, file_id desc, record_no desc
        ) as nth_back,
        row_number() over (
            partition by site_id, meter_id, used_on, calibrated_on <= used_on
            order by calibrated_on asc, calibrated_time asc nulls first, stage_no asc, file_id asc, record_no asc
        ) as nth_forth,
        row_number() over (
            partition by site_id, meter_id, used_on, calibrated_on = used_on and is_accepted
            order by
                is_bracketing desc,
                calibrated_on desc,
                calibrated_time desc nulls last,
                stage_no desc,
                file_id desc,
                record_no desc
        ) as nth_of_day
    from beside
),

told as (
    select
        site_id,
        meter_id,
        used_on,
        is_of_day,
        is_bracketing,
        is_of_day and nth_of_day = 1 as is_check,
        calibrated_on <= used_on and nth_back = 1 and not is_accepted as has_failed_before,
        calibrated_on > used_on and nth_forth = 1 and not is_accepted as fails_next,
        lowest_buffer,
        highest_buffer,
        struct_pack(file_id := file_id, record_no := record_no, stage := stage, checked_on := calibrated_on) as key
    from checks
),

judged as (
    select
        site_id,
        meter_id,
        used_on,
        bool_or(is_of_day and is_bracketing) as is_calibrated,
        bool_or(is_of_day) as is_checked,
        bool_or(has_failed_before) as has_failed_before,
        bool_or(fails_next) as fails_next,
        any_value(key) filter (where is_check) as check_key,
        any_value(lowest_buffer) filter (where is_check) as lowest_buffer,
        any_value(highest_buffer) filter (where is_check) as highest_buffer,
        any_value(key) filter (where has_failed_before) as before_key,
        any_value(key) filter (where fails_next) as next_key
    from told
    group by site_id, meter_id, used_on
),

days as (
    select
        u.site_id,
        u.meter_id,
        u.used_on,
        u.lowest_ph,
        u.highest_ph,
        coalesce(j.is_calibrated, false) as is_calibrated,
        coalesce(j.is_checked, false) as is_checked,
        coalesce(j.has_failed_before or (j.fails_next and not j.is_checked), false) as is_in_doubt,
        j.check_key,
        j.lowest_buffer,
        j.highest_buffer,
        coalesce(j.before_key, j.next_key) as doubt_key
    from used as u
    left join judged as j on u.site_id = j.site_id and u.meter_id = j.meter_id and u.used_on = j.used_on
)

select
    d.site_id,
    d.meter_id,
    d.used_on,
    d.lowest_ph,
    d.highest_ph,
    d.is_calibrated,
    d.is_checked,
    d.is_in_doubt,
    d.check_key.file_id as check_file_id,
    d.check_key.record_no as check_record_no,
    d.check_key.stage as check_stage,
    d.lowest_buffer,
    d.highest_buffer,
    case when d.is_in_doubt then d.doubt_key.file_id end as doubt_file_id,
    case when d.is_in_doubt then d.doubt_key.record_no end as doubt_record_no,
    case when d.is_in_doubt then d.doubt_key.stage end as doubt_stage,
    case when d.is_in_doubt then d.doubt_key.checked_on end as doubt_on
from days as d
