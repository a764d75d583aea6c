-- For each day on which a meter read leachate: was it calibrated that day, and could it be trusted?
-- grain: one meter of a site on one day of use. key: site_id, meter_id, used_on
-- inputs: record_fates, reading_lines, calibrations
-- rule: a meter is in doubt from a failed check until the next accepted one (rule of our own; the published limits are in calibrations).
with
used as (
    select distinct
        f.site_id,
        r.meter_id,
        r.sampled_on as used_on
    from record_fates as f
    inner join reading_lines as r on f.file_id = r.file_id and f.record_no = r.record_no
    where f.fate = 'accepted' and f.export_kind = 'readings' and r.meter_id is not null
),

latest as (
    select
        u.site_id,
        u.meter_id,
        u.used_on,
        c.is_accepted
    from used as u
    inner join calibrations as c
        on u.site_id = c.site_id and lower(u.meter_id) = lower(c.meter_id) and u.used_on >= c.calibrated_on
    qualify
        row_number() over (
            partition by u.site_id, u.meter_id, u.used_on
            order by c.calibrated_on desc, c.calibrated_time desc nulls last, c.file_id desc, c.record_no desc
        ) = 1
)

select
    u.site_id,
    u.meter_id,
    u.used_on,
    exists(
        select 1
        from calibrations as c
        where
            c.site_id = u.site_id and lower(c.meter_id) = lower(u.meter_id)
            and c.calibrated_on = u.used_on and c.is_accepted
    ) as is_calibrated,
    coalesce(not n.is_accepted, false) as is_in_doubt
from used as u
left join latest as n on u.site_id = n.site_id and u.meter_id = n.meter_id and u.used_on = n.used_on
