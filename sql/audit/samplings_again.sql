-- The attached samplings with all that the attached readings tell of them put in anew; what hangs on lines that count no more stays.
-- grain: one lot on one day for one purpose. key: site_id, lot_key, sampled_on, purpose
-- inputs: given_samplings, audit_lots, samplings, usable_readings, feed_pairs
-- Built where a dossier is checked away from its home. is_corrected and lost_on are of lines that are gone, spread of remarks,
-- min_pots of a sampling without any line of the policy: these four are taken over.
with
lines as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        count(*)::integer as lines,
        min(received_on) as first_received_on,
        max(received_on) as received_on,
        string_agg(distinct sampler, ', ' order by sampler) as samplers,
        string_agg(distinct meter_id, ', ' order by meter_id) as meters
    from usable_readings
    group by site_id, lot_key, sampled_on, purpose
),

read as (
    select
        s.*,
        n.lines,
        n.first_received_on,
        n.received_on,
        n.samplers,
        n.meters
    from samplings as s
    inner join audit_lots as a
        on
            s.site_id = a.site_id
            and s.lot_key = a.lot_key
            and s.sampled_on >= a.stands_from
            and s.sampled_on <= a.last_on
    inner join lines as n
        on
            s.site_id = n.site_id
            and s.lot_key = n.lot_key
            and s.sampled_on = n.sampled_on
            and s.purpose = n.purpose
)

select
    coalesce(g.site_id, r.site_id) as site_id,
    coalesce(g.lot_key, r.lot_key) as lot_key,
    coalesce(g.sampled_on, r.sampled_on) as sampled_on,
    coalesce(g.purpose, r.purpose) as purpose,
    coalesce(r.is_counting, false) as is_counting,
    p.after_on is not null and coalesce(g.purpose, r.purpose) = 'after_feed' as is_pair_end,
    coalesce(r.n_pots, 0)::integer as n_pots,
    coalesce(r.n_ph, 0)::integer as n_ph,
    coalesce(r.n_ec, 0)::integer as n_ec,
    coalesce(r.min_pots, g.min_pots) as min_pots,
    coalesce(r.n_volume_right, 0)::integer as n_volume_right,
    coalesce(r.n_volume_right >= r.min_pots, false) as is_volume_right,
    case
        when r.is_meter_in_doubt then 'no'
        when not coalesce(r.has_calibrations, false) then 'not_shown'
        when r.is_meter_calibrated then 'yes'
        else 'no'
    end as calibrated,
    coalesce(r.proper, 'no') as proper,
    g.spread,
    r.samplers,
    r.meters,
    coalesce(r.lines, 0)::integer as lines,
    r.first_received_on,
    r.received_on,
    coalesce(g.is_corrected, false) as is_corrected,
    g.lost_on
from given_samplings as g
full outer join read as r
    on g.site_id = r.site_id and g.lot_key = r.lot_key and g.sampled_on = r.sampled_on and g.purpose = r.purpose
left join feed_pairs as p
    on
        coalesce(g.site_id, r.site_id) = p.site_id
        and coalesce(g.lot_key, r.lot_key) = p.lot_key
        and coalesce(g.sampled_on, r.sampled_on) = p.after_on
