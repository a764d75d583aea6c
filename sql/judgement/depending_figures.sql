-- Samplings whose side hangs on a single pot that lies apart.
-- grain: one judged quantity of one sampling with one outlier. key: site_id, lot_key, sampled_on, purpose, quantity
-- inputs: verdicts, outlier_figures, outlier_pots
-- rule (house default): with the pot the mean is low, in range or high, without it another of these.
select
    v.site_id,
    v.lot_key,
    v.sampled_on,
    v.purpose,
    v.quantity,
    p.value as pot_value,
    v.mean,
    f.mean_without,
    v.side,
    case
        when f.mean_without < v.low::double - 1e-9 then 'low'
        when f.mean_without > v.high::double + 1e-9 then 'high'
        else 'in_range'
    end as side_without
from verdicts as v
inner join outlier_figures as f
    on
        v.site_id = f.site_id
        and v.lot_key = f.lot_key
        and v.sampled_on = f.sampled_on
        and v.purpose = f.purpose
        and v.quantity = f.quantity
        and f.n_outliers = 1
inner join outlier_pots as p
    on
        v.site_id = p.site_id
        and v.lot_key = p.lot_key
        and v.sampled_on = p.sampled_on
        and v.purpose = p.purpose
        and v.quantity = p.quantity
where v.side is not null and not v.is_at_least and side <> side_without
