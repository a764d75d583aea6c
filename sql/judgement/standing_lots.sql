-- Lots that stand in a house on the as-of date, with their stage and their last counting sampling.
-- grain: one lot. key: site_id, lot_key
-- inputs: current_lots, samplings, feed_pairs, policy, policy_containers, policy_problem_crops, run
-- rule: the routine interval is the container class's, or shorter for a crop on the policy's problem list.
-- last_counting_on: the last routine sampling or retest that counts, by which a lot is judged. last_due_base_on: that day, or the
-- second day of a later pair around a feeding, from which the next routine sampling is due: a pair is one sampling.
with
last_counting as (
    select
        site_id,
        lot_key,
        max(sampled_on) as sampled_on
    from samplings
    where is_counting and purpose in ('routine', 'retest')
    group by site_id, lot_key
),

last_pair as (
    select
        site_id,
        lot_key,
        max(after_on) as after_on
    from feed_pairs
    group by site_id, lot_key
),

last_any as (
    select
        site_id,
        lot_key,
        max(sampled_on) as sampled_on
    from samplings
    group by site_id, lot_key
)

select
    l.*,
    t.as_of,
    p.first_within_days,
    p.after_out_interval_days,
    p.affected_within_days,
    p.act_in_a_row,
    c.min_usable_pots,
    -- nobody is asked for more pots than there are plants; a sampling of fewer than min_usable_pots does not count all the same
    if(l.plants is null, c.min_usable_pots, least(c.min_usable_pots, greatest(l.plants, 1))) as asked_pots,
    case
        when x.crop_key is not null then least(c.routine_interval_days, p.problem_interval_days)
        else c.routine_interval_days
    end as interval_days,
    case when interval_days >= 14 then p.grace_days else 0 end as grace_days,
    x.crop_key is not null as is_problem_crop,
    case
        when t.as_of < l.started_on + p.establishing_days then 'establishing'
        when t.as_of > l.ends_on - p.finishing_days then 'finishing'
        else 'active'
    end as stage,
    k.sampled_on as last_counting_on,
    -- a retest on the day of a routine sampling is the later word
    (
        select min(s.purpose)
        from samplings as s
        where
            s.site_id = l.site_id
            and s.lot_key = l.lot_key
            and s.sampled_on = k.sampled_on
            and s.is_counting
            and s.purpose in ('routine', 'retest')
    ) as last_counting_purpose,
    a.sampled_on as last_any_on,
    greatest(k.sampled_on, f.after_on) as last_due_base_on
from current_lots as l
cross join run as t
inner join policy as p on l.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
inner join policy_containers as c
    on
        l.site_id = c.site_id
        and l.container_class = c.container_class
        and t.as_of >= c.valid_from
        and t.as_of < c.valid_to
left join policy_problem_crops as x
    on l.site_id = x.site_id and l.crop_key = x.crop_key and t.as_of >= x.valid_from and t.as_of < x.valid_to
left join last_counting as k on l.site_id = k.site_id and l.lot_key = k.lot_key
left join last_pair as f on l.site_id = f.site_id and l.lot_key = f.lot_key
left join last_any as a on l.site_id = a.site_id and l.lot_key = a.lot_key
where l.is_usable and l.stands_from <= t.as_of and coalesce(l.ends_on, date '9999-12-31') >= t.as_of
