-- EC of pots that can lean one way only: over-collected leachate reads low, under-collected reads high. Pots that lean
-- the other way, even within the limit of exclusion, prove nothing and are left out.
-- grain: one sampling and one way of leaning. key: site_id, lot_key, sampled_on, purpose, leaning
-- inputs: usable_readings
-- rule (house default): biased the one way and still out the other way decides.
select
    site_id,
    lot_key,
    sampled_on,
    purpose,
    'reads_low' as leaning,
    sum(n_pots)::integer as n,
    sum(ec_25_ms_cm * n_pots::decimal(6, 0))::decimal(18, 4) as sum_x
from usable_readings
where ec_25_ms_cm is not null and not is_under_collected
group by site_id, lot_key, sampled_on, purpose
union all
select
    site_id,
    lot_key,
    sampled_on,
    purpose,
    'reads_high' as leaning,
    sum(n_pots)::integer as n,
    sum(ec_25_ms_cm * n_pots::decimal(6, 0))::decimal(18, 4) as sum_x
from usable_readings
where ec_25_ms_cm is not null and not is_over_collected
group by site_id, lot_key, sampled_on, purpose
