-- Why a standing lot has its level: every reason, with its figures.
-- grain: one reason of one lot. key: site_id, lot_key, code, quantity, side
-- inputs: standing_lots, last_verdicts, verdicts, samplings, not_counting, sampling_meters, drifts, depending_figures, trends, drift_points, contrasts, last_treatments, dues, judged_waters, pair_verdicts, usable_readings, policy
-- rules: act on clearly out, or two in a row beyond the margin (house default), or EC of 6.6 and more in greenhouse crops (published
-- band "very high"), or an affected group clearly out. Low EC asks for less haste and only in the active stage (house default).
-- A meter in doubt leads to watch at most, and so does a side that hangs on one pot; but a lot that was clearly out by a trusted meter
-- (and by more than one pot) and reads out on the same side again stays act (house default). A trend is judged from five samplings (exact
-- Mann-Kendall, published); it is a note, and watch where the lot would leave its target within two samplings. A test of
-- order knows no size: trend, forecast, what the water has to do with it and what is no surprise take a slope of at least
-- one step (0.2 pH, 0.5 mS/cm) in eight weeks (house default). A treatment is closed by its retest: one that is overdue and not
-- excused is missed, and a row of samplings out on one side that runs from before the treatment through its retest is not
-- mended; both are watch (house default). A pair around a feeding is a sampling as well: the lot is read by it, and what is out
-- in it is told (pair_verdicts). See rules in DEVELOPERS.md.
with
moving as (
    select h.*
    from trends as h
    inner join standing_lots as l on h.site_id = l.site_id and h.lot_key = l.lot_key
    inner join policy as p on l.site_id = p.site_id and l.as_of >= p.valid_from and l.as_of < p.valid_to
    where
        h.is_trend
        -- 1e-8: slopes are kept to nine decimals
        and abs(h.slope_per_week) * 8
        >= case when h.quantity = 'ph' then p.step_ph else p.step_ec_ms_cm end::double - 1e-8
),

out_of_range as (
    select
        v.*,
        case
            when v.is_low_ec_outside_active then 'note'
            when g.side is not null then 'watch'
            when v.is_meter_in_doubt then if(v.was_trusted_act_before and b.side is null, 'act', 'watch')
            when
                v.quantity = 'ec' and v.side = 'low'
                then case
                    when v.verdict = 'clearly_out' and (v.is_ec_far_below or v.in_a_row >= 2) then 'act'
                    when v.in_a_row >= v.act_in_a_row and v.are_last_two_beyond_margin then 'act'
                    else 'watch'
                end
            when v.verdict = 'clearly_out' then 'act'
            when v.in_a_row >= v.act_in_a_row and v.are_last_two_beyond_margin then 'act'
            else 'watch'
        end as level
    from last_verdicts as v
    left join depending_figures as g
        on
            v.site_id = g.site_id
            and v.lot_key = g.lot_key
            and v.sampled_on = g.sampled_on
            and v.purpose = g.purpose
            and v.quantity = g.quantity
    left join depending_figures as b
        on
            v.site_id = b.site_id
            and v.lot_key = b.lot_key
            and v.sampled_before = b.sampled_on
            and v.purpose_before = b.purpose
            and v.quantity = b.quantity
    where v.verdict in ('out', 'clearly_out')
),

last_affected as (
    select
        l.site_id,
        l.lot_key,
        max(s.sampled_on) as sampled_on
    from standing_lots as l
    inner join samplings as s on l.site_id = s.site_id and l.lot_key = s.lot_key and s.purpose = 'affected'
    where s.sampled_on >= l.as_of - l.affected_within_days
    group by l.site_id, l.lot_key
),

collected as (
    select
        site_id,
        lot_key,
        case when verdict = 'clearly_out' then 'clearly_out' else 'out' end as code,
        level,
        quantity,
        side,
        sampled_on,
        mean,
        ci_low,
        ci_high,
        low,
        high,
        in_a_row,
        since_on,
        null::integer as days,
        null::integer as pots,
        null::integer as min_pots,
        is_at_least as flag,
        null::varchar as meter,
        null::double as first_mean,
        null::date as until_on,
        null::varchar as what
    from out_of_range
    union all by name
    select
        v.site_id,
        v.lot_key,
        'ec_very_high' as code,
        case when v.is_meter_in_doubt or g.side is not null then 'watch' else 'act' end as level,
        v.quantity,
        'high' as side,
        v.sampled_on,
        coalesce(v.judged_mean, v.mean) as mean
    from last_verdicts as v
    left join depending_figures as g
        on
            v.site_id = g.site_id
            and v.lot_key = g.lot_key
            and v.sampled_on = g.sampled_on
            and v.purpose = g.purpose
            and v.quantity = g.quantity
    where v.is_ec_very_high
    union all by name
    select
        a.site_id,
        a.lot_key,
        'affected_clearly_out' as code,
        case
            when s.is_meter_in_doubt or g.side is not null then 'watch'
            when v.quantity = 'ec' and v.side = 'low' and not v.is_ec_far_below then 'watch'
            else 'act'
        end as level,
        v.quantity,
        v.side,
        v.sampled_on,
        v.mean,
        v.ci_low,
        v.ci_high,
        v.low,
        v.high
    from last_affected as a
    inner join verdicts as v
        on
            a.site_id = v.site_id
            and a.lot_key = v.lot_key
            and a.sampled_on = v.sampled_on
            and v.purpose = 'affected'
            and v.verdict = 'clearly_out'
            and not v.is_low_ec_outside_active
    inner join samplings as s
        on
            v.site_id = s.site_id
            and v.lot_key = s.lot_key
            and v.sampled_on = s.sampled_on
            and v.purpose = s.purpose
    left join depending_figures as g
        on
            v.site_id = g.site_id
            and v.lot_key = g.lot_key
            and v.sampled_on = g.sampled_on
            and v.purpose = g.purpose
            and v.quantity = g.quantity
    union all by name
    select
        l.site_id,
        l.lot_key,
        case when l.last_due_base_on is null then 'never_counted' else 'not_read_lately' end as code,
        'no_reading' as level,
        -- a pair around a feeding is a sampling too
        l.last_due_base_on as sampled_on,
        (l.as_of - coalesce(l.last_due_base_on, l.stands_from))::integer as days,
        l.interval_days as pots
    from standing_lots as l
    where
        case
            when l.last_due_base_on is null then l.as_of > l.stands_from + l.first_within_days
            else l.as_of - l.last_due_base_on > l.interval_days + l.grace_days
        end
    union all by name
    select
        site_id,
        lot_key,
        case when verdict = 'clearly_out' then 'pair_clearly_out' else 'pair_out' end as code,
        level,
        quantity,
        side,
        sampled_on,
        judged_mean as mean,
        ci_low,
        ci_high,
        low,
        high,
        is_at_least as flag,
        purpose as what
    from pair_verdicts
    union all by name
    select
        site_id,
        lot_key,
        'close_to_limit' as code,
        case when quantity = 'ec' and stage <> 'active' and ci_high <= high then 'note' else 'watch' end as level,
        quantity,
        case when ci_low < low and ci_high > high then null when ci_low < low then 'low' else 'high' end as side,
        sampled_on,
        mean,
        ci_low,
        ci_high,
        low,
        high
    from last_verdicts
    where verdict = 'close_to_limit'
    union all by name
    select
        site_id,
        lot_key,
        'uneven' as code,
        'watch' as level,
        quantity,
        sampled_on,
        sd as mean,
        uneven_sd as first_mean
    from last_verdicts
    where is_uneven
    union all by name
    select
        v.site_id,
        v.lot_key,
        'depends_on_one_pot' as code,
        -- where neither side is high, EC of a lot that is not active is at most a note
        case
            when v.quantity = 'ec' and v.stage <> 'active' and 'high' not in (v.side, g.side_without) then 'note'
            else 'watch'
        end as level,
        v.quantity,
        v.side,
        v.sampled_on,
        g.mean,
        v.low,
        v.high,
        g.pot_value as first_mean,
        g.mean_without as ci_low
    from last_verdicts as v
    inner join depending_figures as g
        on
            v.site_id = g.site_id
            and v.lot_key = g.lot_key
            and v.sampled_on = g.sampled_on
            and v.purpose = g.purpose
            and v.quantity = g.quantity
    union all by name
    select
        site_id,
        lot_key,
        'trend' as code,
        'note' as level,
        quantity,
        case when slope_per_week > 0 then 'high' else 'low' end as side,
        last_day as sampled_on,
        slope_per_week as mean,
        slope_low as ci_low,
        slope_high as ci_high,
        n as pots,
        first_day as since_on
    from moving
    union all by name
    select
        h.site_id,
        h.lot_key,
        'forecast' as code,
        case when h.is_within_two_samplings then 'watch' else 'note' end as level,
        h.quantity,
        h.heads_for as side,
        h.likely_on as sampled_on,
        h.earliest_on as since_on,
        h.latest_on as until_on,
        h.earliest_on <= l.as_of as flag,
        -- a day that has passed since the last reading is no forecast any more
        case when h.likely_on < l.as_of then l.as_of - h.last_day end::integer as days
    from moving as h
    inner join standing_lots as l on h.site_id = l.site_id and h.lot_key = l.lot_key
    where h.heads_for is not null and h.earliest_on is not null and h.likely_on is not null
    union all by name
    select
        d.site_id,
        d.lot_key,
        'off_baseline' as code,
        'note' as level,
        d.quantity,
        d.ewma_side as side,
        d.sampled_on,
        d.ewma as mean,
        d.centre as first_mean,
        d.ewma_low as ci_low,
        d.ewma_high as ci_high
    from drift_points as d
    inner join standing_lots as l
        on d.site_id = l.site_id and d.lot_key = l.lot_key and d.sampled_on = l.last_counting_on
    where d.ewma_side is not null
    union all by name
    select
        site_id,
        lot_key,
        'affected_differ' as code,
        'watch' as level,
        quantity,
        case when difference > 0 then 'high' else 'low' end as side,
        first_on as sampled_on,
        mean_first as mean,
        mean_second as first_mean,
        ci_low,
        ci_high,
        n_first as pots,
        n_second as min_pots
    from contrasts
    where comparison = 'affected' and word = 'clear'
    union all by name
    select
        site_id,
        lot_key,
        case when bool_or(word = 'not_clear') then 'affected_unexplained' else 'affected_too_few' end as code,
        'note' as level,
        max(first_on) as sampled_on,
        max(n_first) as pots,
        max(n_second) as min_pots
    from contrasts
    where comparison = 'affected'
    group by site_id, lot_key
    having not bool_or(word = 'clear')
    union all by name
    select
        t.site_id,
        t.lot_key,
        if(d.due_on < l.as_of and not d.is_excused, 'retest_missed', 'treated') as code,
        if(d.due_on < l.as_of and not d.is_excused, 'watch', 'note') as level,
        t.treated_on as sampled_on,
        d.due_on as until_on,
        d.due_on < l.as_of as flag,
        (l.as_of - d.due_on)::integer as days,
        t.treatments as what
    from last_treatments as t
    inner join standing_lots as l on t.site_id = l.site_id and t.lot_key = l.lot_key
    inner join dues as d on t.site_id = d.site_id and t.lot_key = d.lot_key and d.why = 'after_treatment'
    union all by name
    select
        v.site_id,
        v.lot_key,
        'unmoved_after_treatment' as code,
        'watch' as level,
        v.quantity,
        v.side,
        v.sampled_on,
        v.since_on,
        t.treated_on as until_on,
        t.treatments as what
    from last_verdicts as v
    inner join last_treatments as t
        on
            v.site_id = t.site_id
            and v.lot_key = t.lot_key
            and v.sampled_on >= t.after_on
            and v.since_on <= t.treated_on
    where v.side in ('low', 'high') and not v.is_low_ec_outside_active
    union all by name
    select
        c.site_id,
        c.lot_key,
        'treatment_result' as code,
        'note' as level,
        c.quantity,
        case when c.word = 'clear' then if(c.difference < 0, 'high', 'low') end as side,
        c.second_on as sampled_on,
        c.mean_second as mean,
        c.mean_first as first_mean,
        -- what moved is the second less the first
        -c.ci_high as ci_low,
        -c.ci_low as ci_high,
        c.n_first as pots,
        c.n_second as min_pots,
        c.first_on as since_on,
        t.treated_on as until_on,
        c.word = 'too_few' as flag,
        t.treatments as what
    from contrasts as c
    inner join last_treatments as t on c.site_id = t.site_id and c.lot_key = t.lot_key
    where c.comparison = 'treatment'
    union all by name
    select
        w.site_id,
        l.lot_key,
        'alkaline_water' as code,
        'note' as level,
        h.quantity,
        'high' as side,
        w.checked_on as sampled_on,
        h.slope_per_week as first_mean,
        w.alkalinity_mg_l as mean,
        w.low,
        w.high
    from moving as h
    inner join standing_lots as l on h.site_id = l.site_id and h.lot_key = l.lot_key
    inner join judged_waters as w on l.site_id = w.site_id and l.container_class = w.container_class
    where h.quantity = 'ph' and h.slope_per_week > 0 and w.word in ('high', 'acid')
    union all by name
    select
        a.site_id,
        a.lot_key,
        'affected_noted' as code,
        'watch' as level,
        a.sampled_on,
        s.n_pots as pots
    from last_affected as a
    inner join samplings as s
        on
            a.site_id = s.site_id
            and a.lot_key = s.lot_key
            and a.sampled_on = s.sampled_on
            and s.purpose = 'affected'
    union all by name
    select
        l.site_id,
        l.lot_key,
        'meter_in_doubt' as code,
        'watch' as level,
        s.sampled_on,
        string_agg(s.meter_id, ', ' order by s.meter_id) as meter,
        list(struct_pack(meter_id := s.meter_id, failed_on := s.doubt_on) order by s.meter_id) as doubted_meters
    from standing_lots as l
    inner join sampling_meters as s
        on
            l.site_id = s.site_id
            and l.lot_key = s.lot_key
            and l.last_counting_on = s.sampled_on
            and l.last_counting_purpose = s.purpose
    where s.is_in_doubt
    group by l.site_id, l.lot_key, s.sampled_on
    union all by name
    select
        n.site_id,
        n.lot_key,
        'last_did_not_count' as code,
        'watch' as level,
        n.sampled_on,
        n.n as pots,
        n.min_pots,
        n.held_lines
    from not_counting as n
    union all by name
    select
        site_id,
        lot_key,
        'ec_not_judged' as code,
        'watch' as level,
        'ec' as quantity,
        case
            when not_judged_why = 'no_temperature' then null
            when pots_excluded_under = 0 then 'high'
            when pots_excluded_over = 0 then 'low'
            else 'both'
        end as side,
        sampled_on,
        leachate_median_ml as mean,
        leachate_low_ml::double as low,
        leachate_high_ml::double as high,
        if(pots_excluded_over = 0, pots_excluded_under, pots_excluded_over) as pots,
        pots_excluded_under as min_pots,
        case
            when
                not_judged_why = 'no_temperature'
                and exists (
                    select 1
                    from usable_readings as r
                    where
                        r.site_id = last_verdicts.site_id
                        and r.lot_key = last_verdicts.lot_key
                        and r.sampled_on = last_verdicts.sampled_on
                        and r.purpose = last_verdicts.purpose
                        and r.why_not_ec = 'no_temperature'
                        and r.temperature_c is not null
                )
                then 'odd_temperature'
        end as what
    from last_verdicts
    where quantity = 'ec' and low is not null and not_judged_why in ('volume', 'no_temperature')
    union all by name
    select
        site_id,
        lot_key,
        'surprising' as code,
        'note' as level,
        quantity,
        side,
        sampled_on
    from last_verdicts
    where
        verdict = 'clearly_out'
        and verdict_before = 'in_range'
        -- a mean that has moved this way for a while surprises nobody
        and not exists (
            select 1
            from drifts as d
            where
                d.site_id = last_verdicts.site_id
                and d.lot_key = last_verdicts.lot_key
                and d.quantity = last_verdicts.quantity
                and (d.direction = 'rising') = (last_verdicts.side = 'high')
        )
        and not exists (
            select 1
            from moving as d
            where
                d.site_id = last_verdicts.site_id
                and d.lot_key = last_verdicts.lot_key
                and d.quantity = last_verdicts.quantity
                and (d.slope_per_week > 0) = (last_verdicts.side = 'high')
        )
    union all by name
    select
        d.site_id,
        d.lot_key,
        'drift' as code,
        'note' as level,
        d.quantity,
        case when d.direction = 'rising' then 'high' else 'low' end as side,
        d.last_mean as mean,
        d.first_mean,
        d.samplings as pots
    from drifts as d
    inner join standing_lots as l on d.site_id = l.site_id and d.lot_key = l.lot_key
    -- from five samplings on there is a test, and its word counts
    where
        not exists (
            select 1
            from trends as h
            where h.site_id = d.site_id and h.lot_key = d.lot_key and h.quantity = d.quantity and h.is_trend is not null
        )
)

select * from collected
