-- What is out of range in pairs around feedings.
-- grain: one quantity of one complete pair that is out on one side. key: site_id, lot_key, after_on, quantity, side
-- inputs: feed_pairs, verdicts
-- rules: a pair is one sampling: low EC is judged on its first half, before the feed, high EC on its second, after it (house default);
-- pH, which the feed moves little, on the second. sampled_on, purpose: of the half that says so.
select
    p.site_id,
    p.lot_key,
    p.before_on,
    p.after_on,
    v.quantity,
    v.side,
    v.sampled_on,
    v.purpose,
    v.is_low_ec_outside_active
from feed_pairs as p
inner join verdicts as v
    on
        p.site_id = v.site_id
        and p.lot_key = v.lot_key
        and case
            when v.quantity = 'ec' and v.side = 'low' then v.purpose = 'before_feed' and p.before_on = v.sampled_on
            else v.purpose = 'after_feed' and p.after_on = v.sampled_on
        end
where v.verdict in ('out', 'clearly_out')
