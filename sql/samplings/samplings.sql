-- Samplings: did enough pots count, and was the work done properly?
-- grain: one lot on one day for one purpose. key: site_id, lot_key, sampled_on, purpose
-- inputs: usable_readings, checks_shown
-- rules: at least five usable pots (common practice; nursery containers three, published by NC State Extension: 3-5);
-- proper: enough pots whose volume is recorded and within tolerance, and every meter calibrated that day (common practice).
with
counted as (
    select
        site_id,
        lot_key,
        any_value(lot_id) as lot_id,
        sampled_on,
        purpose,
        sum(n_pots)::integer as n_pots,
        any_value(min_usable_pots) as min_pots,
        any_value(leachate_low_ml) as leachate_low_ml,
        any_value(leachate_high_ml) as leachate_high_ml,
        any_value(pour_ml) as pour_ml,
        coalesce(sum(n_pots) filter (where is_usable_ph), 0)::integer as n_ph,
        coalesce(sum(n_pots) filter (where is_usable_ec), 0)::integer as n_ec,
        coalesce(sum(n_pots) filter (
            where is_usable_ph and not is_without_volume and not is_over_collected and not is_under_collected
        ), 0)::integer as n_volume_right,
        median(leachate_ml::double) as leachate_median_ml,
        min(leachate_ml) as leachate_min_ml,
        max(leachate_ml) as leachate_max_ml,
        coalesce(sum(n_pots) filter (where is_over_collected), 0)::integer as pots_over_collected,
        coalesce(sum(n_pots) filter (where is_under_collected), 0)::integer as pots_under_collected,
        coalesce(sum(n_pots) filter (where is_without_volume), 0)::integer as pots_without_volume,
        coalesce(sum(n_pots) filter (where why_not_ec in ('over_collected', 'under_collected')), 0)::integer
            as pots_volume_excluded,
        coalesce(sum(n_pots) filter (where why_not_ec = 'no_temperature'), 0)::integer as pots_without_temperature,
        coalesce(sum(n_pots) filter (where why_not_ec = 'not_measured'), 0)::integer as pots_without_ec,
        coalesce(sum(n_pots) filter (where why_not_ec = 'over_collected'), 0)::integer as pots_excluded_over,
        coalesce(sum(n_pots) filter (where why_not_ec = 'under_collected'), 0)::integer as pots_excluded_under,
        case when min(method) = max(method) then min(method) else 'several methods' end as method,
        bool_and(is_meter_calibrated) as is_meter_calibrated,
        bool_or(is_meter_in_doubt) as is_meter_in_doubt,
        list_sort(list_distinct(list(meter_id) filter (where meter_id is not null))) as meter_ids
    from usable_readings
    group by site_id, lot_key, sampled_on, purpose
)

select
    c.*,
    coalesce(c.sampled_on >= s.from_on, false) as has_calibrations,
    c.n_ph >= c.min_pots as is_counting,
    c.n_ph >= c.min_pots and c.n_ec >= c.min_pots as is_ec_countable,
    case
        when c.n_ph < c.min_pots or c.n_ec < c.min_pots or c.n_volume_right < c.min_pots then 'no'
        when c.is_meter_in_doubt then 'no'
        when s.from_on is null or c.sampled_on < s.from_on then 'not_shown'
        when c.is_meter_calibrated then 'yes'
        else 'no'
    end as proper
from counted as c
left join checks_shown as s on c.site_id = s.site_id
