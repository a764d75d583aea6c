-- What the rules remark about a check of a meter, with the figures for the sentence.
-- grain: one rule's remark on one check. key: file_id, record_no, stage, rule
-- inputs: calibrations, policy, policy_finding_levels
-- a: the figure; low and high: the edges it is held against, where there are edges; on_day: the date of a solution.
with
judged as (
    select
        c.*,
        p.slope_low_pct,
        p.slope_high_pct,
        p.slope_warn_low_pct,
        p.slope_warn_high_pct,
        p.offset_limit_mv,
        p.buffer_limit_ph,
        p.ec_standard_share
    from calibrations as c
    inner join policy as p
        on c.site_id = p.site_id and c.calibrated_on >= p.valid_from and c.calibrated_on < p.valid_to
),

remarks as (
    select
        site_id,
        meter_id,
        calibrated_on,
        stage,
        file_id,
        record_no,
        'solution_expired' as rule,
        'warn' as level,
        null::double as a,
        null::double as low,
        null::double as high,
        solution_expires_on as on_day,
        solution as what
    from judged where is_solution_expired
    union all
    select
        site_id, meter_id, calibrated_on, stage, file_id, record_no, 'slope_marginal', 'warn',
        slope_pct::double, slope_warn_low_pct::double, slope_warn_high_pct::double, null, null
    from judged where is_slope_marginal and not is_slope_failed
    union all
    select
        site_id, meter_id, calibrated_on, stage, file_id, record_no, 'slope_failed', 'warn',
        slope_pct::double, slope_low_pct::double, slope_high_pct::double, null, null
    from judged where is_slope_failed
    union all
    select
        site_id, meter_id, calibrated_on, stage, file_id, record_no, 'offset_failed', 'warn',
        offset_mv::double, -offset_limit_mv::double, offset_limit_mv::double, null, null
    from judged where is_offset_failed
    union all
    select
        site_id, meter_id, calibrated_on, stage, file_id, record_no, 'buffer_off', 'warn',
        worst_error_ph::double, null, buffer_limit_ph::double, null, null
    from judged where is_buffer_failed
    union all
    select
        site_id, meter_id, calibrated_on, stage, file_id, record_no, 'ec_standard_off', 'warn',
        ec_found_ms_cm::double, (ec_standard_ms_cm * (1 - ec_standard_share))::double,
        (ec_standard_ms_cm * (1 + ec_standard_share))::double, null, null
    from judged where is_ec_failed
)

select
    r.* replace (coalesce(o.level, r.level) as level)
from remarks as r
left join policy_finding_levels as o
    on
        r.site_id = o.site_id
        and r.rule = o.rule
        and r.calibrated_on >= o.valid_from
        and r.calibrated_on < o.valid_to
where o.level is distinct from 'off'
