-- What the samplings of an audited period showed, against the target that held that day.
-- grain: one quantity of one sampling. key: site_id, lot_id, sampled_on, purpose, quantity
select
    v.site_id,
    a.lot_id,
    v.sampled_on,
    v.purpose,
    v.quantity,
    v.n,
    round(v.mean, 4) as mean,
    round(v.sd, 4) as sd,
    round(v.ci_low, 4) as ci_low,
    round(v.ci_high, 4) as ci_high,
    v.low,
    v.high,
    t.basis,
    t.source,
    v.side,
    v.verdict,
    v.is_at_least,
    v.not_judged_why
from verdicts as v
inner join audit_lots as a on v.site_id = a.site_id and v.lot_key = a.lot_key
cross join audit_period as p
left join lot_targets as t
    on
        v.site_id = t.site_id
        and v.lot_key = t.lot_key
        and v.quantity = t.quantity
        and v.sampled_on >= t.valid_from
        and v.sampled_on < t.valid_to
where v.sampled_on >= p.from_on and v.sampled_on <= p.to_on
order by v.site_id, a.lot_id, v.sampled_on, v.purpose, v.quantity
