-- The range each lot is judged against, and who set it.
-- grain: one quantity of one lot in one span of policy (and stage). key: site_id, lot_key, quantity, valid_from
-- inputs: current_lots, policy, own_targets, chosen_targets, general_targets, crop_groups
-- rule: an own target for the lot's stage, else an own target for all stages (of each the site's before the group's), else the
-- published row that the policy chooses, else the published range of the pH group or the feeding level among which the policy
-- counts the crop (chosen_targets holds either), else the general range.
-- Plugs, nursery stock and lots on controlled-release fertilizer are not judged on EC without a target of their own.
-- Spans are cut at the lot's stages where an own target of its crop names a stage.
-- own_stage: the stage that the chosen own target is for; null: for all, or not an own one
-- unused_group: the group among which the policy counts the crop, where that is not what the lot is judged by: a source prints a range
-- (unused_low and unused_high are the group's), or another pH group for the crop, which goes before it for the action thresholds
with
asked as (
    select
        l.site_id,
        l.lot_key,
        l.crop_key,
        -- a lot without a feed mode is none on controlled release
        coalesce(l.container_class in ('plug', 'nursery') or l.feed_mode = 'controlled_release', false)
            as is_ec_for_history_only,
        g.ph_group,
        p.valid_from as policy_from,
        p.valid_to as policy_to,
        -- as in verdicts: a day is establishing, else finishing, else active
        l.started_on + p.establishing_days as active_from,
        greatest(coalesce(l.ends_on - p.finishing_days + 1, date '9999-12-31'), active_from) as finishing_from,
        unnest(['ph', 'ec']) as quantity
    from current_lots as l
    inner join policy as p on l.site_id = p.site_id
    left join crop_groups as g on l.crop_key = g.crop_key
    where l.is_usable
),

staged_crops as (
    select distinct
        site_id,
        crop_key,
        quantity,
        valid_from
    from own_targets
    where stage is not null
),

stages as (
    select unnest([null, 'establishing', 'active', 'finishing']) as stage
),

spans as (
    select
        a.*,
        s.stage,
        case s.stage
            when 'active' then greatest(a.policy_from, a.active_from)
            when 'finishing' then greatest(a.policy_from, a.finishing_from)
            else a.policy_from
        end as valid_from,
        case s.stage
            when 'establishing' then least(a.policy_to, a.active_from)
            when 'active' then least(a.policy_to, a.finishing_from)
            else a.policy_to
        end as valid_to
    from asked as a
    left join staged_crops as c
        on
            a.site_id = c.site_id
            and a.crop_key = c.crop_key
            and a.quantity = c.quantity
            and a.policy_from = c.valid_from
    inner join stages as s on (s.stage is null) = (c.crop_key is null)
),

owned as (
    select
        a.*,
        coalesce(s.low, u.low) as own_low,
        coalesce(s.high, u.high) as own_high,
        if(s.low is null, u.basis, s.basis) as own_basis,
        if(s.low is null, u.note, s.note) as own_note,
        s.stage as own_stage
    from spans as a
    left join own_targets as s
        on
            a.site_id = s.site_id
            and a.crop_key = s.crop_key
            and a.quantity = s.quantity
            and a.policy_from = s.valid_from
            and a.stage = s.stage
    left join own_targets as u
        on
            a.site_id = u.site_id
            and a.crop_key = u.crop_key
            and a.quantity = u.quantity
            and a.policy_from = u.valid_from
            and u.stage is null
    where a.valid_from < a.valid_to
),

-- ranges of a group of the policy that one published for the crop itself goes before
unused_ranges as (
    select
        o.site_id,
        o.lot_key,
        o.quantity,
        o.valid_from,
        c.policy_low,
        c.policy_high
    from owned as o
    inner join chosen_targets as c
        on
            o.site_id = c.site_id
            and o.crop_key = c.crop_key
            and o.quantity = c.quantity
            and o.policy_from = c.valid_from
    where
        o.own_low is null
        and not (o.quantity = 'ec' and o.is_ec_for_history_only)
        and c.policy_group is not null
        and c.group_name is null
)

select
    o.site_id,
    o.lot_key,
    o.crop_key,
    o.quantity,
    o.valid_from,
    o.valid_to,
    coalesce(o.ph_group, c.ph_group) as ph_group,
    o.own_stage,
    case
        when o.own_low is not null then o.own_low
        when o.quantity = 'ec' and o.is_ec_for_history_only then null
        else coalesce(c.low, g.low)
    end as low,
    case
        when o.own_low is not null then o.own_high
        when o.quantity = 'ec' and o.is_ec_for_history_only then null
        else coalesce(c.high, g.high)
    end as high,
    case
        when o.own_low is not null then o.own_basis
        when o.quantity = 'ec' and o.is_ec_for_history_only then null
        when c.low is not null then 'published'
        when g.low is not null then 'general'
    end as basis,
    case
        when o.own_low is not null then o.own_note
        when c.group_name is not null and o.quantity = 'ph'
            then 'pH group ' || c.group_name || ' by the policy; ' || c.source
        when c.group_name is not null then 'feeding level ' || c.group_name || ' by the policy; ' || c.source
        when c.low is not null then c.source
        else g.source
    end as source,
    case
        when o.own_low is not null then null
        when c.low is not null then c.source_url
        else g.source_url
    end as source_url,
    case
        when o.own_low is not null then 'own value'
        when c.low is not null then c.how_known
        else g.how_known
    end as how_known,
    case
        when o.own_low is not null then null
        when o.quantity = 'ec' and o.is_ec_for_history_only then 'history_only'
        when c.low is null then 'no_published_target'
    end as remark,
    case
        when u.policy_low is not null or (o.quantity = 'ph' and o.ph_group <> c.policy_group) then c.policy_group
    end as unused_group,
    u.policy_low as unused_low,
    u.policy_high as unused_high
from owned as o
left join chosen_targets as c
    on
        o.site_id = c.site_id
        and o.crop_key = c.crop_key
        and o.quantity = c.quantity
        and o.policy_from = c.valid_from
left join unused_ranges as u
    on
        o.site_id = u.site_id
        and o.lot_key = u.lot_key
        and o.quantity = u.quantity
        and o.valid_from = u.valid_from
left join general_targets as g on o.quantity = g.quantity
