-- What every sampling of the audited lots came to, from their start to the period's end: what follow-ups hang on.
-- grain: one quantity of one sampling. key: site_id, lot_key, sampled_on, purpose, quantity
select
    v.site_id,
    v.lot_key,
    v.sampled_on,
    v.purpose,
    v.quantity,
    v.side,
    v.verdict,
    v.is_low_ec_outside_active
from verdicts as v
inner join audit_lots as a on v.site_id = a.site_id and v.lot_key = a.lot_key
cross join audit_period as p
where v.sampled_on <= p.to_on
order by v.site_id, v.lot_key, v.sampled_on, v.purpose, v.quantity
