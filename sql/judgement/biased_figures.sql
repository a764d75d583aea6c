-- EC of pots that lean one way only: over-collected leachate reads low, under-collected reads high.
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
where ec_25_ms_cm is not null and coalesce(why_not_ec, 'over_collected') = 'over_collected'
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
where ec_25_ms_cm is not null and coalesce(why_not_ec, 'under_collected') = 'under_collected'
group by site_id, lot_key, sampled_on, purpose
