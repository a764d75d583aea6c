-- Each meter of a site as it stands on the as-of date.
-- grain: one meter. key: site_id, meter_id
-- inputs: calibrations, meter_days, usable_readings, policy, checks_shown, run
-- what there is to remark about its checks is in meter_findings. days_used_unchecked: without those on which it was
-- checked with buffers that did not bracket its readings, which has a remark of its own
with
known as (
    select site_id, lower(meter_id) as meter_key, min(meter_id) as meter_id
    from (
        select site_id, meter_id from calibrations where meter_id is not null
        union
        select site_id, meter_id from meter_days
    )
    group by site_id, lower(meter_id)
),

latest as (
    select *
    from calibrations
    qualify
        row_number() over (
            partition by site_id, lower(meter_id)
            order by calibrated_on desc, calibrated_time desc nulls last, stage_no desc, file_id desc, record_no desc
        ) = 1
),

-- a failed check puts every reading since the last good one in doubt (published: ISO 9001:2015 7.1.5.2, from memory)
last_good as (
    select site_id, lower(meter_id) as meter_key, max(calibrated_on) as calibrated_on
    from calibrations
    where is_accepted
    group by site_id, lower(meter_id)
),

doubted as (
    select r.site_id, lower(r.meter_id) as meter_key, count(*)::integer as readings
    from usable_readings as r
    inner join latest as n
        on r.site_id = n.site_id and lower(r.meter_id) = lower(n.meter_id) and not n.is_accepted
    left join last_good as g on r.site_id = g.site_id and lower(r.meter_id) = g.meter_key
    where r.is_meter_in_doubt and r.sampled_on >= coalesce(g.calibrated_on, date '0001-01-01')
    group by r.site_id, lower(r.meter_id)
),

uncalibrated as (
    select
        d.site_id,
        lower(d.meter_id) as meter_key,
        list(distinct d.used_on order by d.used_on) as days,
        list(distinct d.used_on order by d.used_on) filter (where not d.is_checked) as unchecked
    from meter_days as d
    cross join run as t
    inner join policy as p on d.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
    inner join checks_shown as s on d.site_id = s.site_id and d.used_on >= s.from_on
    where not d.is_calibrated and d.used_on > t.as_of - p.quality_days
    group by d.site_id, lower(d.meter_id)
)

select
    k.site_id,
    k.meter_id,
    n.calibrated_on as last_calibrated_on,
    n.is_accepted as last_accepted,
    n.slope_pct,
    n.offset_mv,
    coalesce(not n.is_accepted, false) as is_in_doubt,
    coalesce(d.readings, 0)::integer as readings_in_doubt,
    coalesce(u.days, []) as days_used_without_calibration,
    coalesce(u.unchecked, []) as days_used_unchecked
from known as k
left join latest as n on k.site_id = n.site_id and k.meter_key = lower(n.meter_id)
left join doubted as d on k.site_id = d.site_id and k.meter_key = d.meter_key
left join uncalibrated as u on k.site_id = u.site_id and k.meter_key = u.meter_key
