-- The range each lot is judged against, and who set it.
-- grain: one quantity of one lot in one span of policy. key: site_id, lot_key, quantity, valid_from
-- inputs: current_lots, policy, own_targets, chosen_targets, general_targets, crop_groups
-- rule: the site's or group's own target, else the published row that the policy chooses, else the general range.
-- Plugs, nursery stock and lots on controlled-release fertilizer are not judged on EC without a target of their own.
with
asked as (
    select
        l.site_id,
        l.lot_key,
        l.crop_key,
        l.container_class in ('plug', 'nursery') or l.feed_mode = 'controlled_release' as is_ec_for_history_only,
        g.ph_group,
        p.valid_from,
        p.valid_to,
        unnest(['ph', 'ec']) as quantity
    from current_lots as l
    inner join policy as p on l.site_id = p.site_id
    left join crop_groups as g on l.crop_key = g.crop_key
    where l.is_usable
)

select
    a.site_id,
    a.lot_key,
    a.crop_key,
    a.quantity,
    a.valid_from,
    a.valid_to,
    a.ph_group,
    case
        when o.low is not null then o.low
        when a.quantity = 'ec' and a.is_ec_for_history_only then null
        else coalesce(c.low, g.low)
    end as low,
    case
        when o.high is not null then o.high
        when a.quantity = 'ec' and a.is_ec_for_history_only then null
        else coalesce(c.high, g.high)
    end as high,
    case
        when o.low is not null then o.basis
        when a.quantity = 'ec' and a.is_ec_for_history_only then null
        when c.low is not null then 'published'
        when g.low is not null then 'general'
    end as basis,
    case
        when o.low is not null then o.note
        when c.low is not null then c.source
        else g.source
    end as source,
    case
        when o.low is not null then null
        when c.low is not null then c.source_url
        else g.source_url
    end as source_url,
    case
        when o.low is not null then 'own value'
        when c.low is not null then c.how_known
        else g.how_known
    end as how_known,
    case
        when o.low is not null then null
        when a.quantity = 'ec' and a.is_ec_for_history_only then 'history_only'
        when c.low is null then 'no_published_target'
    end as remark
from asked as a
left join own_targets as o
    on
        a.site_id = o.site_id
        and a.crop_key = o.crop_key
        and a.quantity = o.quantity
        and a.valid_from = o.valid_from
left join chosen_targets as c
    on
        a.site_id = c.site_id
        and a.crop_key = c.crop_key
        and a.quantity = c.quantity
        and a.valid_from = c.valid_from
left join general_targets as g on a.quantity = g.quantity
