-- Remarks on the samplings of an audited period, with the figures for their sentences.
-- grain: one rule's remark on one sampling. key: site_id, lot_id, sampled_on, purpose, rule
select
    a.lot_id,
    s.*
from sampling_findings as s
inner join audit_lots as a on s.site_id = a.site_id and s.lot_key = a.lot_key
cross join audit_period as p
where s.sampled_on between p.from_on and p.to_on
order by s.site_id, a.lot_id, s.sampled_on, s.purpose, s.rule
