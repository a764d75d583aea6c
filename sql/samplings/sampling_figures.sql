-- Statistics of each quantity in each sampling.
-- grain: one quantity of one sampling. key: site_id, lot_key, sampled_on, purpose, quantity
-- inputs: usable_readings, policy, t_quantiles
-- units: pH, or mS/cm at 25 °C. Sums are exact decimals, so that edges can be compared without rounding.
-- source: interval mean ± t s/√n, t for n - 1 degrees of freedom (Harvey, Modern Analytical Chemistry, 2000, chapter 4);
-- SD from exact sums, n - 1. A line that stands for several pots weighs as many; without an SD of its own, or
-- where all pots are alike, the policy's is taken as known and the interval is normal (house default).
with
weighed as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        unnest(['ph', 'ec']) as quantity,
        unnest([is_usable_ph, is_usable_ec]) as is_usable,
        unnest([ph::decimal(9, 4), ec_25_ms_cm]) as x,
        unnest([
            ph_sd::double,
            -- an SD is brought to 25 °C by the factor of its mean
            case
                when ec_25_ms_cm = ec_recorded_ms_cm then ec_sd_ms_cm::double
                else ec_sd_ms_cm::double * (ec_25_ms_cm / nullif(ec_recorded_ms_cm, 0))
            end
        ]) as own_sd,
        n_pots
    from usable_readings
),

summed as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        quantity,
        sum(n_pots)::integer as n,
        count(*)::integer as n_lines,
        max(n_pots) > 1 as has_summary_line,
        sum(x * n_pots::decimal(6, 0))::decimal(18, 4) as sum_x,
        sum(x * x)::decimal(24, 8) as sum_xx,
        any_value(own_sd) as own_sd,
        median(x::double) as median_x,
        min(x) as min_x,
        max(x) as max_x
    from weighed
    where is_usable
    group by site_id, lot_key, sampled_on, purpose, quantity
),

measured as (
    select
        *,
        case
            when has_summary_line and n_lines = 1 then own_sd
            when not has_summary_line and n > 1
                then sqrt(greatest(
                    0::double,
                    (n * sum_xx - sum_x::decimal(14, 4) * sum_x::decimal(14, 4))::double / (n * (n - 1))
                ))
        end as measured_sd
    from summed
),

spread as (
    select
        s.*,
        s.sum_x::double / s.n as mean,
        -- pots all alike are a question (was each read by itself?), not certainty: their spread is not known
        s.measured_sd = 0 or (s.has_summary_line and s.measured_sd is null) as is_sd_assumed,
        case
            when s.measured_sd > 0 then s.measured_sd
            when s.measured_sd is null and not s.has_summary_line then null
            when s.quantity = 'ph' then p.summary_ph_sd::double
            else p.summary_ec_sd_ms_cm::double
        end as sd
    from measured as s
    inner join policy as p
        on s.site_id = p.site_id and s.sampled_on >= p.valid_from and s.sampled_on < p.valid_to
),

widened as (
    select
        d.*,
        case
            -- 1.959964: two-sided 95 % point of the normal distribution
            when d.is_sd_assumed then 1.959963984540054 * d.sd / sqrt(d.n)
            when d.n > 1 then t.t * d.sd / sqrt(d.n)
        end as half_width
    from spread as d
    left join t_quantiles as t on least(d.n - 1, 400) = t.df
)

select
    site_id,
    lot_key,
    sampled_on,
    purpose,
    quantity,
    n,
    sum_x,
    mean,
    sd,
    coalesce(is_sd_assumed, false) as is_sd_assumed,
    mean - half_width as ci_low,
    mean + half_width as ci_high,
    case when not has_summary_line then median_x end as median,
    case when not has_summary_line then min_x end as min,
    case when not has_summary_line then max_x end as max,
    has_summary_line
from widened
