-- Each meter of a site as it stands on the as-of date.
-- grain: one meter. key: site_id, meter_id
-- inputs: calibrations, meter_days, usable_readings, policy, policy_finding_levels, checks_shown, run
-- a remark that the policy of the check's day has switched off is not made
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
        list(distinct d.used_on order by d.used_on) as days
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
    n.ec_standard_ms_cm,
    n.ec_found_ms_cm,
    coalesce(n.is_slope_failed, false) as is_slope_failed,
    coalesce(n.is_offset_failed, false) as is_offset_failed,
    coalesce(n.is_ec_failed, false) as is_ec_failed,
    coalesce(n.is_slope_marginal, false) and coalesce(m.level, '') <> 'off' as is_slope_marginal,
    coalesce(n.is_buffer_failed, false) as is_buffer_failed,
    n.worst_error_ph,
    n.is_slope_computed,
    n.solution,
    n.solution_expires_on,
    coalesce(n.is_solution_expired, false) and coalesce(e.level, '') <> 'off' as is_solution_expired,
    l.slope_low_pct,
    l.slope_high_pct,
    l.slope_warn_low_pct,
    l.slope_warn_high_pct,
    l.offset_limit_mv,
    coalesce(not n.is_accepted, false) as is_in_doubt,
    coalesce(d.readings, 0)::integer as readings_in_doubt,
    coalesce(u.days, []) as days_used_without_calibration
from known as k
left join latest as n on k.site_id = n.site_id and k.meter_key = lower(n.meter_id)
left join policy as l
    on n.site_id = l.site_id and n.calibrated_on >= l.valid_from and n.calibrated_on < l.valid_to
left join policy_finding_levels as m
    on
        n.site_id = m.site_id
        and m.rule = 'slope_marginal'
        and n.calibrated_on >= m.valid_from
        and n.calibrated_on < m.valid_to
left join policy_finding_levels as e
    on
        n.site_id = e.site_id
        and e.rule = 'solution_expired'
        and n.calibrated_on >= e.valid_from
        and n.calibrated_on < e.valid_to
left join doubted as d on k.site_id = d.site_id and k.meter_key = d.meter_key
left join uncalibrated as u on k.site_id = u.site_id and k.meter_key = u.meter_key
