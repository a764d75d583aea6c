-- What a pair around a feeding says of a lot that was read so last.
-- grain: one quantity out on one side, of one standing lot whose newest counting sampling is a complete pair. key: site_id, lot_key, quantity, side
-- inputs: standing_lots, pair_outs, verdicts, sampling_meters, depending_figures
-- rules: which half says what: pair_outs. A routine sampling or retest on the pair's last day or later takes its place.
-- Levels as in `reasons`: low EC acts only when it is far below the edge and the lot is active; a meter in doubt, or a side that
-- hangs on one pot, leads to watch at most.
with
newest as (
    select
        p.site_id,
        p.lot_key,
        p.sampled_on,
        p.purpose,
        p.quantity,
        p.side
    from standing_lots as l
    inner join pair_outs as p on l.site_id = p.site_id and l.lot_key = p.lot_key and l.last_due_base_on = p.after_on
    where l.last_counting_on is null or p.after_on > l.last_counting_on
)

select
    v.*,
    g.side is not null as is_by_one_pot,
    case
        when v.is_low_ec_outside_active then 'note'
        when g.side is not null or exists (
            select 1
            from sampling_meters as s
            where
                s.site_id = v.site_id
                and s.lot_key = v.lot_key
                and s.sampled_on = v.sampled_on
                and s.purpose = v.purpose
                and s.is_in_doubt
        ) then 'watch'
        when v.is_ec_very_high then 'act'
        when v.verdict <> 'clearly_out' then 'watch'
        when v.quantity = 'ec' and v.side = 'low' and not v.is_ec_far_below then 'watch'
        else 'act'
    end as level
from newest as n
inner join verdicts as v
    on
        n.site_id = v.site_id
        and n.lot_key = v.lot_key
        and n.sampled_on = v.sampled_on
        and n.purpose = v.purpose
        and n.quantity = v.quantity
        and n.side = v.side
left join depending_figures as g
    on
        v.site_id = g.site_id
        and v.lot_key = g.lot_key
        and v.sampled_on = g.sampled_on
        and v.purpose = g.purpose
        and v.quantity = g.quantity
