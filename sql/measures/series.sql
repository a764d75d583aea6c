-- Means that trends and drift charts look at, with a number that rises where they start anew.
-- grain: one quantity of one counting routine or retest sampling. key: site_id, lot_key, quantity, sampled_on, purpose
-- inputs: verdicts
-- rule (house default): a change of stage starts trend and baseline anew.
select
    site_id,
    lot_key,
    quantity,
    sampled_on,
    mean,
    case stage when 'establishing' then 0 when 'active' then 1 else 2 end as segment
from verdicts
where
    is_counting
    and purpose in ('routine', 'retest')
    and mean is not null
    and (quantity = 'ph' or is_ec_countable)
order by site_id, lot_key, quantity, sampled_on, purpose
