-- What the rules remark about a check of a meter, with the figures for the sentence.
-- grain: one rule's remark on one check. key: file_id, record_no, stage, rule, meter_id
-- inputs: calibrations, usable_readings, meter_days, policy, policy_finding_levels, run
-- checks that matter: those after the meter's last accepted check before the days over which quality is counted (house
-- default). An older failed check cannot put a reading of these days in doubt.
-- a: the figure; low and high: the edges it is held against; b, c: what it was read in, or what was read with it.
-- readings_before, readings_after: readings that this line puts in doubt, before its day and from its day on; good_on: the last
-- good check before. A level that the policy of the check's day sets takes the place of the rule's own; off silences
-- the remark and makes no failed check good.
with
ordered as (
    select
        c.*,
        lower(c.meter_id) as meter_key,
        max(c.calibrated_on) filter (where c.is_accepted) over before as good_on,
        bool_or(c.is_accepted) filter (where c.stage = 'as_left') over line as is_left_good,
        row_number() over day_back = 1 as is_last_of_day,
        row_number() over back = 1 as is_last
    from calibrations as c
    where c.meter_id is not null
    window
        before as (
            partition by c.site_id, lower(c.meter_id)
            order by c.calibrated_on, c.calibrated_time nulls first, c.stage_no, c.file_id, c.record_no
            rows between unbounded preceding and 1 preceding
        ),
        line as (partition by c.file_id, c.record_no),
        day_back as (
            partition by c.site_id, lower(c.meter_id), c.calibrated_on
            order by c.calibrated_time desc nulls last, c.stage_no desc, c.file_id desc, c.record_no desc
        ),
        back as (
            partition by c.site_id, lower(c.meter_id)
            order by
                c.calibrated_on desc,
                c.calibrated_time desc nulls last,
                c.stage_no desc,
                c.file_id desc,
                c.record_no desc
        )
),

since as (
    select o.site_id, o.meter_key, max(o.calibrated_on) as since_on
    from ordered as o
    cross join run as t
    inner join policy as p on o.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
    where o.is_last_of_day and o.is_accepted and o.calibrated_on <= t.as_of - p.quality_days
    group by o.site_id, o.meter_key
),

doubted as (
    select
        d.doubt_file_id as file_id,
        d.doubt_record_no as record_no,
        count_if(d.used_on < d.doubt_on)::integer as readings_before,
        count_if(d.used_on >= d.doubt_on)::integer as readings_after
    from usable_readings as r
    inner join meter_days as d on r.site_id = d.site_id and r.meter_id = d.meter_id and r.sampled_on = d.used_on
    where d.is_in_doubt
    group by d.doubt_file_id, d.doubt_record_no
),

judged as (
    select
        o.*,
        p.slope_low_pct,
        p.slope_high_pct,
        p.slope_warn_low_pct,
        p.slope_warn_high_pct,
        p.offset_limit_mv,
        p.buffer_limit_ph,
        p.ec_standard_share,
        coalesce(d.readings_before, 0) as readings_before,
        coalesce(d.readings_after, 0) as readings_after,
        -- what a line says once is told with how the meter was left
        o.stage = 'as_left' or not o.is_of_two as is_telling
    from ordered as o
    inner join policy as p
        on o.site_id = p.site_id and o.calibrated_on >= p.valid_from and o.calibrated_on < p.valid_to
    left join since as s on o.site_id = s.site_id and o.meter_key = s.meter_key
    left join doubted as d on o.file_id = d.file_id and o.record_no = d.record_no
    where s.since_on is null or o.calibrated_on > s.since_on
),

remarks as (
    select
        file_id,
        record_no,
        stage,
        meter_id,
        'solution_expired' as rule,
        'warn' as level,
        null::double as a,
        null::double as b,
        null::double as c,
        null::double as low,
        null::double as high,
        solution_expires_on as on_day,
        solution as what
    from judged where is_solution_expired and is_telling
    union all by name
    select
        file_id, record_no, stage, meter_id, 'slope_marginal' as rule, 'warn' as level,
        slope_pct::double as a, slope_warn_low_pct::double as low, slope_warn_high_pct::double as high
    from judged where is_slope_marginal and not is_slope_failed
    union all by name
    select
        file_id, record_no, stage, meter_id, 'slope_failed' as rule, 'warn' as level,
        slope_pct::double as a, slope_low_pct::double as low, slope_high_pct::double as high
    from judged where is_slope_failed
    union all by name
    select
        file_id, record_no, stage, meter_id, 'offset_failed' as rule, 'warn' as level,
        offset_mv::double as a, -offset_limit_mv::double as low, offset_limit_mv::double as high
    from judged where is_offset_failed
    union all by name
    select
        file_id, record_no, stage, meter_id, 'buffer_off' as rule, 'warn' as level,
        worst_error_ph::double as a, worst_shown_ph::double as b, worst_label::double as c,
        worst_buffer_ph::double as low, buffer_limit_ph::double as high
    from judged where is_buffer_failed
    union all by name
    select
        file_id, record_no, stage, meter_id, 'ec_standard_off' as rule, 'warn' as level,
        ec_found_ms_cm::double as a, ec_standard_ms_cm::double as b, ec_standard_share::double as c,
        (ec_standard_ms_cm * (1 - ec_standard_share))::double as low,
        (ec_standard_ms_cm * (1 + ec_standard_share))::double as high
    from judged where is_ec_failed
    union all by name
    select file_id, record_no, stage, meter_id, 'check_marked_failed' as rule, 'warn' as level
    from judged
    where passed is false and not (is_slope_failed or is_offset_failed or is_buffer_failed or is_ec_failed)
    union all by name
    select file_id, record_no, stage, meter_id, 'buffers_unread' as rule, 'warn' as level, buffers as what
    from judged where is_buffers_unread and is_telling
    union all by name
    select
        check_file_id as file_id, check_record_no as record_no, check_stage as stage, meter_id,
        'buffers_not_bracketing' as rule, 'warn' as level,
        lowest_ph::double as a, highest_ph::double as b,
        lowest_buffer::double as low, highest_buffer::double as high
    from meter_days where is_checked and not is_calibrated
)

select
    j.site_id,
    r.meter_id,
    j.meter_key,
    j.calibrated_on,
    j.calibrated_time,
    r.file_id,
    r.record_no,
    r.stage,
    j.stage_no,
    j.is_of_two,
    j.is_last,
    r.rule,
    coalesce(o.level, r.level) as level,
    r.a,
    r.b,
    r.c,
    r.low,
    r.high,
    r.on_day,
    r.what,
    j.temperature_c::double as temperature_c,
    j.is_ec_left_not_written,
    not j.is_accepted as is_failed,
    j.is_left_good,
    j.good_on,
    j.readings_before,
    j.readings_after
from remarks as r
inner join judged as j on r.file_id = j.file_id and r.record_no = j.record_no and r.stage = j.stage
left join policy_finding_levels as o
    on
        j.site_id = o.site_id
        and r.rule = o.rule
        and j.calibrated_on >= o.valid_from
        and j.calibrated_on < o.valid_to
where o.level is distinct from 'off'
