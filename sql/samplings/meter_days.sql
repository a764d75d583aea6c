-- For each day on which a meter read leachate: was it calibrated that day, and could it be trusted?
-- grain: one meter of a site on one day of use. key: site_id, meter_id, used_on
-- inputs: record_fates, reading_lines, calibrations
-- rules: buffers bracket the readings (common practice: 4 and 7), where they are written down. A failed check puts every
-- reading since the last good one in doubt (published: ISO 9001:2015 7.1.5.2, from memory), and those until the next good
-- one; readings of a day with an accepted calibration before any failed one are trusted. How a meter was found comes before
-- how it was left: found off, the readings since the last good check are in doubt; left good, those that follow are not.
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

checks as (
    select
        u.site_id,
        u.meter_id,
        u.used_on,
        c.calibrated_on,
        c.is_accepted,
        coalesce(c.lowest_buffer <= u.lowest_ph and c.highest_buffer >= u.highest_ph, true) as is_bracketing,
        row_number() over (
            partition by u.site_id, u.meter_id, u.used_on, c.calibrated_on <= u.used_on
            order by
                c.calibrated_on desc,
                c.calibrated_time desc nulls last,
                c.stage_no desc,
                c.file_id desc,
                c.record_no desc
        ) as nth_back,
        row_number() over (
            partition by u.site_id, u.meter_id, u.used_on, c.calibrated_on <= u.used_on
            order by
                c.calibrated_on asc,
                c.calibrated_time asc nulls first,
                c.stage_no asc,
                c.file_id asc,
                c.record_no asc
        ) as nth_forth
    from used as u
    inner join calibrations as c on u.site_id = c.site_id and lower(u.meter_id) = lower(c.meter_id)
),

judged as (
    select
        site_id,
        meter_id,
        used_on,
        bool_or(calibrated_on = used_on and is_accepted and is_bracketing) as is_calibrated,
        bool_or(calibrated_on = used_on and is_accepted) as is_checked,
        bool_or(calibrated_on <= used_on and nth_back = 1 and not is_accepted) as has_failed_before,
        bool_or(calibrated_on > used_on and nth_forth = 1 and not is_accepted) as fails_next
    from checks
    group by site_id, meter_id, used_on
)

select
    u.site_id,
    u.meter_id,
    u.used_on,
    coalesce(j.is_calibrated, false) as is_calibrated,
    coalesce(j.has_failed_before or (j.fails_next and not j.is_checked), false) as is_in_doubt
from used as u
left join judged as j on u.site_id = j.site_id and u.meter_id = j.meter_id and u.used_on = j.used_on
