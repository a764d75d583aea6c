-- SD between the pots of each sampling and how many they are, where it was measured, for the number of pots that would be enough.
-- grain: one quantity of one sampling. key: site_id, lot_key, sampled_on, purpose, quantity
-- inputs: sampling_figures
select
    site_id,
    lot_key,
    sampled_on,
    purpose,
    quantity,
    n,
    sd
from sampling_figures
where not is_sd_assumed and sd is not null
order by all
