-- Verdicts of each standing lot's last counting sampling, with what went before.
-- grain: one quantity of one standing lot that has a counting sampling. key: site_id, lot_key, quantity
-- inputs: standing_lots, verdicts, streaks, samplings
-- was_trusted_act_before: the judged sampling before was clearly out on the same side by meters that are not in doubt. Low EC asks
-- for less haste and is left out.
select
    v.*,
    coalesce(k.in_a_row, 0) as in_a_row,
    k.since_on,
    k.verdict_before,
    k.sampled_before,
    k.purpose_before,
    coalesce(k.are_last_two_beyond_margin, false) as are_last_two_beyond_margin,
    s.is_meter_in_doubt,
    s.meter_ids,
    s.pots_excluded_over,
    s.pots_excluded_under,
    s.leachate_median_ml,
    s.leachate_low_ml,
    s.leachate_high_ml,
    l.act_in_a_row,
    coalesce(
        k.in_a_row >= 2
        and k.verdict_before = 'clearly_out'
        and not b.is_meter_in_doubt
        and not (v.quantity = 'ec' and v.side = 'low'),
        false
    ) as was_trusted_act_before
from standing_lots as l
inner join verdicts as v
    on
        l.site_id = v.site_id
        and l.lot_key = v.lot_key
        and l.last_counting_on = v.sampled_on
        and l.last_counting_purpose = v.purpose
inner join samplings as s
    on
        v.site_id = s.site_id and v.lot_key = s.lot_key and v.sampled_on = s.sampled_on and v.purpose = s.purpose
left join streaks as k
    on
        v.site_id = k.site_id
        and v.lot_key = k.lot_key
        and v.sampled_on = k.sampled_on
        and v.purpose = k.purpose
        and v.quantity = k.quantity
left join samplings as b
    on
        v.site_id = b.site_id
        and v.lot_key = b.lot_key
        and k.sampled_before = b.sampled_on
        and k.purpose_before = b.purpose
