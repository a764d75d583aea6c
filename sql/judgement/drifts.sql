-- Means that moved the same way from sampling to sampling: a plain fact, not a test of significance.
-- grain: one quantity of one lot whose last counting means moved one way. key: site_id, lot_key, quantity
-- inputs: verdicts, policy, run
-- rule (house default): at least three moves the same way, together at least one step (0.2 pH, 0.5 mS/cm).
with
means as (
    select
        v.site_id,
        v.lot_key,
        v.quantity,
        v.sampled_on,
        v.mean,
        case when v.quantity = 'ph' then p.step_ph else p.step_ec_ms_cm end::double as step,
        lag(v.mean) over lot_days as mean_before,
        row_number() over (
            partition by v.site_id, v.lot_key, v.quantity order by v.sampled_on desc, v.purpose asc
        ) as back
    from verdicts as v
    cross join run as t
    inner join policy as p on v.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
    where
        v.is_counting
        and v.purpose in ('routine', 'retest')
        and v.mean is not null
        and (v.quantity = 'ph' or v.is_ec_countable)
    window lot_days as (partition by v.site_id, v.lot_key, v.quantity order by v.sampled_on asc, v.purpose desc)
),

moves as (
    select
        *,
        -- equal means of different numbers of pots may differ in their last bits
        sign(round(mean - mean_before, 9)) as direction
    from means
    where mean_before is not null
),

last_directions as (
    select
        *,
        first_value(direction) over (partition by site_id, lot_key, quantity order by back) as last_direction
    from moves
),

breaks as (
    select
        *,
        max(case when direction <> last_direction then 1 else 0 end) over (
            partition by site_id, lot_key, quantity order by back
        ) as is_broken
    from last_directions
)

select
    site_id,
    lot_key,
    quantity,
    case when any_value(last_direction) > 0 then 'rising' else 'falling' end as direction,
    count(*)::integer + 1 as samplings,
    arg_max(mean_before, back) as first_mean,
    arg_min(mean, back) as last_mean
from breaks
where is_broken = 0 and last_direction <> 0
group by site_id, lot_key, quantity, step
having count(*) >= 3 and abs(arg_min(mean, back) - arg_max(mean_before, back)) >= step - 1e-9
