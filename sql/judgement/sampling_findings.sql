-- What the rules remark about a sampling, with the figures for the sentence.
-- grain: one rule's remark on one sampling. key: site_id, lot_key, sampled_on, purpose, rule
-- inputs: samplings, sampling_meters, usable_readings, sampling_questions, outlier_figures, outlier_pots, policy, policy_finding_levels, verdicts, sampling_figures, feed_checks
-- rules: volumes, pots, drain time and calibration are common practice; tolerances are house defaults; both stand in policy.
-- doubted_meters: each with the day of the check that put it in doubt; meters_not_bracketed: with buffers and readings.
-- pipeline/settings/findings.py lists every rule; a level that the policy sets takes the place of the rule's own.
with
pots as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        coalesce(sum(n_pots) filter (where is_poured_off_recipe), 0)::integer as poured_off,
        min(poured_ml) as poured_min_ml,
        max(poured_ml) as poured_max_ml,
        coalesce(sum(n_pots) filter (where is_more_than_poured), 0)::integer as more_than_poured,
        coalesce(sum(n_pots) filter (where is_poured_not_distilled), 0)::integer as poured_not_distilled,
        array_to_string(list_sort(list_distinct(list(poured_with) filter (where is_poured_not_distilled))), ',')
            as poured_with,
        coalesce(sum(n_pots) filter (where is_drained_off_recipe), 0)::integer as drained_off,
        min(drain_min) as drained_min,
        max(drain_min) as drained_max,
        any_value(drain_low_min) as drain_low_min,
        any_value(drain_high_min) as drain_high_min,
        coalesce(sum(n_pots) filter (where recorded_purpose = 'routine' and purpose = 'affected'), 0)::integer
            as affected_in_routine,
        coalesce(sum(n_pots) filter (where is_odd_temperature), 0)::integer as odd_temperature,
        (min(temperature_c) filter (where is_odd_temperature))::double as odd_temperature_low,
        (max(temperature_c) filter (where is_odd_temperature))::double as odd_temperature_high,
        count(*) as lines,
        max(n_pots) as largest_line,
        count(ph) as with_ph,
        count(distinct ph) as different_ph,
        any_value(ph) as any_ph,
        -- without a temperature there is none at 25 °C, and the figure as it was written is alike or not
        count(coalesce(ec_25_ms_cm, ec_recorded_ms_cm)) as with_ec,
        count(distinct coalesce(ec_25_ms_cm, ec_recorded_ms_cm)) as different_ec,
        any_value(coalesce(ec_25_ms_cm, ec_recorded_ms_cm)) as any_ec
    from (
        select
            *,
            why_not_ec = 'no_temperature' and temperature_c is not null as is_odd_temperature
        from usable_readings
    )
    group by site_id, lot_key, sampled_on, purpose
),

meters as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        bool_or(not is_checked) as has_unchecked,
        string_agg(meter_id, ', ' order by meter_id) filter (where not is_checked) as unchecked,
        list(struct_pack(meter_id := meter_id, failed_on := doubt_on) order by meter_id) filter (where is_in_doubt)
            as in_doubt,
        list(
            struct_pack(
                meter_id := meter_id,
                lowest_buffer := lowest_buffer::double,
                highest_buffer := highest_buffer::double,
                lowest_ph := lowest_ph::double,
                highest_ph := highest_ph::double
            )
            order by meter_id
        ) filter (where is_checked and not is_calibrated) as not_bracketed
    from sampling_meters
    group by site_id, lot_key, sampled_on, purpose
),

joined as (
    select
        s.*,
        p.* exclude (site_id, lot_key, sampled_on, purpose),
        m.* exclude (site_id, lot_key, sampled_on, purpose),
        u.unequal_volume_share
    from samplings as s
    inner join pots as p
        on s.site_id = p.site_id and s.lot_key = p.lot_key and s.sampled_on = p.sampled_on and s.purpose = p.purpose
    inner join meters as m
        on s.site_id = m.site_id and s.lot_key = m.lot_key and s.sampled_on = m.sampled_on and s.purpose = m.purpose
    inner join policy as u on s.site_id = u.site_id and s.sampled_on >= u.valid_from and s.sampled_on < u.valid_to
),

furthest_pots as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        quantity,
        arg_max(value, abs(modified_z)) as value
    from outlier_pots
    group by all
),

-- the source water that was in use: its last check before
waters as (
    select
        s.site_id,
        s.lot_key,
        s.sampled_on,
        s.purpose,
        f.n,
        f.mean,
        s.n_pots,
        w.checked_on,
        w.ec_25_ms_cm
    from samplings as s
    inner join sampling_figures as f
        on
            s.site_id = f.site_id
            and s.lot_key = f.lot_key
            and s.sampled_on = f.sampled_on
            and s.purpose = f.purpose
            and f.quantity = 'ec'
    inner join policy as p on s.site_id = p.site_id and s.sampled_on >= p.valid_from and s.sampled_on < p.valid_to
    inner join feed_checks as w
        on
            s.site_id = w.site_id
            and w.place = 'source_water'
            and w.ec_25_ms_cm is not null
            and w.checked_on between s.sampled_on - p.water_check_days and s.sampled_on
    qualify
        row_number() over (
            partition by s.site_id, s.lot_key, s.sampled_on, s.purpose
            order by w.checked_on desc, w.checked_time desc nulls last, w.file_id desc, w.record_no desc
        ) = 1
        and f.sum_x < w.ec_25_ms_cm * f.n
),

remarks as (
    select
        site_id, lot_key, sampled_on, purpose, 'too_few_pots' as rule, 'warn' as level,
        n_ph as pots,
        n_pots as of_pots,
        min_pots::double as low,
        null::double as high,
        null::double as a,
        null::double as b,
        null::varchar as what
    from joined
    -- pots set apart from a routine sampling are no sampling of their own that somebody took too small
    where not is_counting and affected_in_routine < n_pots
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'over_collected', 'warn', pots_over_collected, n_pots,
        leachate_low_ml::double, leachate_high_ml::double, leachate_min_ml::double, leachate_max_ml::double, null
    from joined where pots_over_collected > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'under_collected', 'warn', pots_under_collected, n_pots,
        leachate_low_ml::double, leachate_high_ml::double, leachate_min_ml::double, leachate_max_ml::double, null
    from joined where pots_under_collected > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'volume_excludes_ec', 'exclude', pots_volume_excluded, n_pots,
        leachate_low_ml::double, leachate_high_ml::double, null, null, null
    from joined where pots_volume_excluded > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'no_temperature', 'exclude',
        (pots_without_temperature - odd_temperature)::integer, n_pots, null, null, null, null, null
    from joined where pots_without_temperature > odd_temperature
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'odd_temperature', 'exclude', odd_temperature, n_pots,
        odd_temperature_low, odd_temperature_high, null, null, null
    from joined where odd_temperature > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'volume_not_recorded', 'warn', pots_without_volume, n_pots,
        null, null, null, null, null
    from joined where pots_without_volume > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'unequal_volumes', 'warn', n_pots, n_pots,
        leachate_min_ml::double, leachate_max_ml::double, unequal_volume_share::double, leachate_median_ml, null
    from joined
    where
        leachate_median_ml > 0
        and (leachate_max_ml - leachate_min_ml)::double / leachate_median_ml > unequal_volume_share::double
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'poured_off_recipe', 'warn', poured_off, n_pots,
        pour_ml::double, null, poured_min_ml::double, poured_max_ml::double, null
    from joined where poured_off > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'more_than_poured', 'warn', more_than_poured, n_pots,
        null, null, null, null, null
    from joined where more_than_poured > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'poured_not_distilled', 'warn', poured_not_distilled, n_pots,
        null, null, null, null, poured_with
    from joined where poured_not_distilled > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'ec_below_water', 'warn', n, n_pots,
        null, null, mean, ec_25_ms_cm::double, checked_on::varchar
    from waters
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'drain_time', 'warn', drained_off, n_pots,
        drain_low_min::double, drain_high_min::double, drained_min::double, drained_max::double, null
    from joined where drained_off > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'meter_in_doubt', 'warn', n_pots, n_pots,
        null, null, null, null, null
    from joined where is_meter_in_doubt
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'meter_not_calibrated', 'warn', n_pots, n_pots,
        null, null, null, null, coalesce(unchecked, '')
    from joined where has_calibrations and has_unchecked and not is_meter_in_doubt
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'buffers_not_bracketing', 'warn', n_pots, n_pots,
        null, null, null, null, null
    from joined where has_calibrations and not_bracketed is not null and not is_meter_in_doubt
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'affected_in_routine', 'note', affected_in_routine, n_pots,
        -- of each a comparison takes five (common practice): three and three can never be told apart at 5 %
        5.0, null, null, null, null
    from joined where affected_in_routine > 0
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'all_alike', 'warn', n_pots, n_pots,
        null, null, any_ph::double, any_ec::double, null
    from joined
    where
        greatest(with_ph, with_ec) >= min_pots and largest_line = 1 and different_ph <= 1 and different_ec <= 1
        and (
            (with_ph > 0 and with_ec > 0)
            -- of one quantity alone three pots are alike by chance too often (house default)
            or lines >= 5
        )
    union all
    select
        site_id, lot_key, sampled_on, purpose, 'uneven_' || quantity, 'warn', n, n,
        null, uneven_sd, sd, null, quantity
    from verdicts where is_uneven
    union all
    select
        site_id, lot_key, sampled_on, purpose, rule, level, pots, of_pots, low, high, a, b, what
    from sampling_questions
    union all
    select
        f.site_id,
        f.lot_key,
        f.sampled_on,
        f.purpose,
        'outlier_' || f.quantity,
        'warn',
        f.n_outliers,
        f.n_outliers,
        f.mean_without,
        f.ci_low_without,
        p.value,
        f.ci_high_without,
        f.quantity
    from outlier_figures as f
    inner join furthest_pots as p
        on
            f.site_id = p.site_id
            and f.lot_key = p.lot_key
            and f.sampled_on = p.sampled_on
            and f.purpose = p.purpose
            and f.quantity = p.quantity
    where f.n_outliers > 0
)

select
    r.* replace (coalesce(o.level, r.level) as level),
    case r.rule when 'meter_in_doubt' then m.in_doubt end as doubted_meters,
    case r.rule when 'buffers_not_bracketing' then m.not_bracketed end as meters_not_bracketed,
    g.grubbs_g,
    g.grubbs_critical,
    g.is_grubbs_outlier
from remarks as r
left join meters as m
    on r.site_id = m.site_id and r.lot_key = m.lot_key and r.sampled_on = m.sampled_on and r.purpose = m.purpose
left join outlier_figures as g
    on
        r.site_id = g.site_id
        and r.lot_key = g.lot_key
        and r.sampled_on = g.sampled_on
        and r.purpose = g.purpose
        and r.rule = 'outlier_' || g.quantity
left join policy_finding_levels as o
    on
        r.site_id = o.site_id
        and r.rule = o.rule
        and r.level <> 'exclude'
        and r.sampled_on >= o.valid_from
        and r.sampled_on < o.valid_to
where o.level is distinct from 'off'
