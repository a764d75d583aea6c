-- Each quantity of each sampling against the lot's target.
-- grain: one quantity of one sampling. key: site_id, lot_key, sampled_on, purpose, quantity
-- inputs: samplings, very_high_edges, sampling_figures, biased_figures, lot_targets, policy, published_ranges, usable_readings, current_lots
-- rules: edges belong to the range and are compared on exact sums. Clearly out: the whole 95 % interval and the mean by a
-- margin beyond the edge (0.2 pH; 15 % of the EC edge, at least 0.4 mS/cm below or 0.5 above: house defaults), or a published action threshold crossed: above 6.4 for
-- iron-inefficient crops (Univ. of Florida IFAS), below 5.5 for iron-efficient ones (Michigan State Univ. Extension), below 5.4 for
-- others (e-GRO Alert), where it lies beyond the target's own edge. A mean inside another published range of the crop is `out`,
-- not `clearly out`.
with
asked as (
    select
        s.site_id,
        s.lot_key,
        s.sampled_on,
        s.purpose,
        s.min_pots,
        s.is_counting,
        s.is_ec_countable,
        s.n_pots,
        s.pots_volume_excluded,
        s.pots_without_temperature,
        s.method,
        unnest(['ph', 'ec']) as quantity
    from samplings as s
),

figured as (
    select
        a.*,
        f.n,
        f.sum_x,
        f.mean,
        f.ci_low,
        f.ci_high,
        f.has_summary_line,
        t.crop_key,
        t.low,
        t.high,
        t.remark,
        t.basis,
        p.act_in_a_row,
        case
            when a.quantity = 'ph' then t.low - p.clear_margin_ph
            else least(t.low * (1 - p.clear_margin_ec_share), t.low - p.clear_margin_ec_low_ms_cm)
        end as clear_low,
        case
            when a.quantity = 'ph' then t.high + p.clear_margin_ph
            else greatest(t.high * (1 + p.clear_margin_ec_share), t.high + p.clear_margin_ec_high_ms_cm)
        end as clear_high,
        case
            when a.quantity = 'ec' then null
            -- a threshold that is the target's own edge says no more than the edge
            when t.ph_group = 'iron-efficient' and t.low > p.ph_action_low_iron_efficient
                then p.ph_action_low_iron_efficient
            when coalesce(t.ph_group, '') <> 'iron-efficient' and t.low > p.ph_action_low_other
                then p.ph_action_low_other
        end as action_low,
        case
            when
                a.quantity = 'ph'
                and t.ph_group = 'iron-inefficient'
                and t.high < p.ph_action_high_iron_inefficient
                then p.ph_action_high_iron_inefficient
        end as action_high,
        case
            when a.quantity <> 'ec' or l.container_class = 'nursery' then null
            when a.method = 'pour-through' then p.ec_act_ms_cm
            else e.ec_ms_cm
        end as ec_act_ms_cm,
        a.method = 'pour-through' or e.is_included as is_ec_act_included,
        case when a.quantity = 'ec' then t.low * p.ec_low_act_share end as ec_low_act,
        case
            when a.sampled_on < l.started_on + p.establishing_days then 'establishing'
            when a.sampled_on > l.ends_on - p.finishing_days then 'finishing'
            else 'active'
        end as stage,
        case
            when a.quantity = 'ph' then p.uneven_ph_sd
            else p.uneven_ec_sd_ms_cm
        end as uneven_sd,
        case when a.quantity = 'ph' then p.step_ph else p.step_ec_ms_cm end as step,
        p.finishing_high_ec_weight,
        f.sd,
        f.is_sd_assumed,
        rl.n as n_reads_low,
        rl.sum_x as sum_reads_low,
        rh.n as n_reads_high,
        rh.sum_x as sum_reads_high
    from asked as a
    inner join current_lots as l on a.site_id = l.site_id and a.lot_key = l.lot_key
    inner join policy as p
        on a.site_id = p.site_id and a.sampled_on >= p.valid_from and a.sampled_on < p.valid_to
    inner join lot_targets as t
        on
            a.site_id = t.site_id
            and a.lot_key = t.lot_key
            and a.quantity = t.quantity
            and a.sampled_on >= t.valid_from
            and a.sampled_on < t.valid_to
    left join very_high_edges as e on a.method = e.method
    left join sampling_figures as f
        on
            a.site_id = f.site_id
            and a.lot_key = f.lot_key
            and a.sampled_on = f.sampled_on
            and a.purpose = f.purpose
            and a.quantity = f.quantity
    left join biased_figures as rl
        on
            a.quantity = 'ec'
            and rl.leaning = 'reads_low'
            and a.site_id = rl.site_id
            and a.lot_key = rl.lot_key
            and a.sampled_on = rl.sampled_on
            and a.purpose = rl.purpose
    left join biased_figures as rh
        on
            a.quantity = 'ec'
            and rh.leaning = 'reads_high'
            and a.site_id = rh.site_id
            and a.lot_key = rh.lot_key
            and a.sampled_on = rh.sampled_on
            and a.purpose = rh.purpose
),

opened as (
    select
        *,
        case
            when not is_counting then 'too_few_pots'
            when low is null then 'no_target'
            -- published EC targets are of the pour-through; a number of another method cannot be held against them
            when quantity = 'ec' and basis = 'published' and method <> 'pour-through' then 'other_method'
            when quantity = 'ec' and not is_ec_countable
                then case
                    when pots_volume_excluded > 0 and pots_volume_excluded >= pots_without_temperature then 'volume'
                    when pots_without_temperature > 0 then 'no_temperature'
                    else 'not_measured'
                end
        end as obstacle
    from figured
),

sided as (
    select
        *,
        case
            when obstacle = 'volume' and n_reads_low >= min_pots and sum_reads_low > high * n_reads_low then 'high'
            when obstacle = 'volume' and n_reads_high >= min_pots and sum_reads_high < low * n_reads_high then 'low'
            when obstacle is not null then null
            when sum_x < low * n then 'low'
            when sum_x > high * n then 'high'
            else 'in_range'
        end as side
    from opened
),

-- the pots that decided: the usable ones, or those that lean one way and are out the other way all the same
decided as (
    select
        *,
        case
            when obstacle is null then sum_x
            when side = 'high' then sum_reads_low
            when side = 'low' then sum_reads_high
        end as judged_sum,
        case
            when obstacle is null then n
            when side = 'high' then n_reads_low
            when side = 'low' then n_reads_high
        end as judged_n
    from sided
),

measured as (
    select
        s.*,
        case
            when s.judged_sum is not null then s.judged_sum
            when
                s.is_ec_countable
                and (s.obstacle = 'other_method' or (s.obstacle = 'no_target' and s.remark = 'no_published_target'))
                then s.sum_x
        end as band_sum,
        coalesce(s.judged_n, s.n) as band_n,
        s.judged_sum::double / s.judged_n as judged_mean,
        coalesce(
            (s.side = 'low' and s.judged_sum <= s.clear_low * s.judged_n)
            or (s.side = 'high' and s.judged_sum >= s.clear_high * s.judged_n),
            false
        ) as is_beyond_margin,
        s.obstacle is null and coalesce(
            (s.side = 'low' and s.ci_high < s.low) or (s.side = 'high' and s.ci_low > s.high),
            false
        ) as is_interval_beyond,
        s.obstacle is null and coalesce(
            (s.side = 'low' and s.sum_x < s.action_low * s.n) or (s.side = 'high' and s.sum_x > s.action_high * s.n),
            false
        ) as is_threshold_crossed,
        coalesce(s.side in ('low', 'high'), false)
        -- published EC ranges are of the pour-through
        and (s.quantity = 'ph' or s.method = 'pour-through')
        and exists (
            select 1
            from published_ranges as r
            where
                r.crop_key = s.crop_key
                and r.quantity = s.quantity
                and s.judged_sum >= r.low * s.judged_n
                and s.judged_sum <= r.high * s.judged_n
        ) as is_inside_another
    from decided as s
),

in_range_pots as (
    select
        m.site_id,
        m.lot_key,
        m.sampled_on,
        m.purpose,
        m.quantity,
        count(*) filter (
            where case when m.quantity = 'ph' then r.ph else r.ec_25_ms_cm end between m.low and m.high
        )::integer as pots_in_range
    from measured as m
    inner join usable_readings as r
        on
            m.site_id = r.site_id
            and m.lot_key = r.lot_key
            and m.sampled_on = r.sampled_on
            and m.purpose = r.purpose
            and case when m.quantity = 'ph' then r.is_usable_ph else r.is_usable_ec end
    where not m.has_summary_line and m.low is not null
    group by m.site_id, m.lot_key, m.sampled_on, m.purpose, m.quantity
)

select
    m.site_id,
    m.lot_key,
    m.sampled_on,
    m.purpose,
    m.quantity,
    m.is_counting,
    m.is_ec_countable,
    m.stage,
    m.n,
    m.sum_x,
    m.mean,
    m.judged_mean,
    m.ci_low,
    m.ci_high,
    m.sd,
    m.is_sd_assumed,
    m.low,
    m.high,
    m.side,
    case
        when m.side is null then null
        when m.side = 'in_range'
            then case
                -- 1e-9: equal pots on the edge have an interval on the edge, whatever binary fractions make of it
                when m.ci_low < m.low::double - 1e-9 or m.ci_high > m.high::double + 1e-9 then 'close_to_limit'
                else 'in_range'
            end
        when m.is_inside_another then 'out'
        when m.is_threshold_crossed or (m.is_interval_beyond and m.is_beyond_margin) then 'clearly_out'
        else 'out'
    end as verdict,
    m.obstacle is not null and m.side is not null as is_at_least,
    m.is_inside_another,
    m.is_beyond_margin,
    case when m.side is null then m.obstacle end as not_judged_why,
    m.quantity = 'ec' and coalesce(m.side = 'low', false) and m.stage <> 'active' as is_low_ec_outside_active,
    coalesce(m.judged_sum < m.ec_low_act * m.judged_n, false) as is_ec_far_below,
    -- the band speaks where a crop has no published target, but not for lots that are judged by their own history alone
    coalesce(
        m.band_sum > m.ec_act_ms_cm * m.band_n
        or (m.band_sum = m.ec_act_ms_cm * m.band_n and m.is_ec_act_included),
        false
    ) as is_ec_very_high,
    coalesce(not m.is_sd_assumed and m.sd > m.uneven_sd, false) as is_uneven,
    m.uneven_sd,
    case
        when m.side = 'low' then (m.low::double - m.judged_mean) / m.step::double
        when m.side = 'high' then (m.judged_mean - m.high::double) / m.step::double
        else 0.0
    end as steps_beyond,
    m.step,
    -- house default: salts weigh more where no time is left to bring them down
    case
        when m.quantity = 'ec' and m.side = 'high' and m.stage = 'finishing' then m.finishing_high_ec_weight
        else 1
    end::double as weight,
    -- what stood beside the mean, for whoever asks how the verdict came about
    m.clear_low,
    m.clear_high,
    m.action_low,
    m.action_high,
    m.is_interval_beyond,
    m.is_threshold_crossed,
    m.ec_act_ms_cm,
    m.ec_low_act,
    i.pots_in_range
from measured as m
left join in_range_pots as i
    on
        m.site_id = i.site_id
        and m.lot_key = i.lot_key
        and m.sampled_on = i.sampled_on
        and m.purpose = i.purpose
        and m.quantity = i.quantity
