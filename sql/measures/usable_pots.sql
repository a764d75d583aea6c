-- Usable pots of samplings in which each was read by itself, one value a row, for outliers.
-- grain: one quantity of one line. key: file_id, record_no, quantity
-- inputs: usable_readings
with
unfolded as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        file_id,
        record_no,
        n_pots,
        unnest(['ph', 'ec']) as quantity,
        unnest([is_usable_ph, is_usable_ec]) as is_usable,
        unnest([ph::double, ec_25_ms_cm::double]) as value
    from usable_readings
)

select * exclude (n_pots, is_usable)
from unfolded
where is_usable
-- a line for several pots hides them, and the figures without one pot would leave it out too
qualify max(n_pots) over (partition by site_id, lot_key, sampled_on, purpose, quantity) = 1
order by site_id, lot_key, sampled_on, purpose, quantity, file_id, record_no
