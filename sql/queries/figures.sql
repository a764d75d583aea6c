-- Statistics and verdict of each quantity in each sampling of standing lots.
-- grain: one quantity of one sampling. key: site_id, lot_key, sampled_on, purpose, quantity
-- is_followed: whether its mean is one of those that are looked at from sampling to sampling
select
    v.site_id,
    v.lot_key,
    v.sampled_on,
    v.purpose,
    v.quantity,
    coalesce(f.n, 0) as n,
    f.mean,
    (
        v.is_counting
        and v.purpose in ('routine', 'retest')
        and f.mean is not null
        and (v.quantity = 'ph' or v.is_ec_countable)
    ) as is_followed,
    f.sd,
    coalesce(f.is_sd_assumed, false) as is_sd_assumed,
    f.ci_low,
    f.ci_high,
    f.median,
    f.min::double as min,
    f.max::double as max,
    v.pots_in_range,
    v.side,
    v.verdict,
    v.is_at_least,
    if(v.is_at_least, v.judged_mean, null) as bound,
    b.n as bound_pots,
    v.stage,
    v.is_inside_another,
    coalesce(k.in_a_row, 0) as in_a_row,
    v.not_judged_why,
    w.pots_needed,
    o.n_outliers,
    o.mean_without,
    o.sd_without,
    o.ci_low_without,
    o.ci_high_without,
    o.grubbs_g,
    o.grubbs_critical,
    o.is_grubbs_outlier as grubbs_beyond,
    g.site_id is not null as depends_on_one_pot
from verdicts as v
inner join standing_lots as l on v.site_id = l.site_id and v.lot_key = l.lot_key
left join sampling_figures as f
    on
        v.site_id = f.site_id
        and v.lot_key = f.lot_key
        and v.sampled_on = f.sampled_on
        and v.purpose = f.purpose
        and v.quantity = f.quantity
-- the pots that lean one way and decided all the same
left join biased_figures as b
    on
        v.is_at_least
        and v.site_id = b.site_id
        and v.lot_key = b.lot_key
        and v.sampled_on = b.sampled_on
        and v.purpose = b.purpose
        and b.leaning = if(v.side = 'high', 'reads_low', 'reads_high')
left join streaks as k
    on
        v.site_id = k.site_id
        and v.lot_key = k.lot_key
        and v.sampled_on = k.sampled_on
        and v.purpose = k.purpose
        and v.quantity = k.quantity
left join pots_needed as w
    on
        v.site_id = w.site_id
        and v.lot_key = w.lot_key
        and v.sampled_on = w.sampled_on
        and v.purpose = w.purpose
        and v.quantity = w.quantity
left join outlier_figures as o
    on
        v.site_id = o.site_id
        and v.lot_key = o.lot_key
        and v.sampled_on = o.sampled_on
        and v.purpose = o.purpose
        and v.quantity = o.quantity
left join depending_figures as g
    on
        v.site_id = g.site_id
        and v.lot_key = g.lot_key
        and v.sampled_on = g.sampled_on
        and v.purpose = g.purpose
        and v.quantity = g.quantity
