-- Was every crop sampled as often as the policy says, and properly? By lot, house, site, grower and group.
-- grain: one lot, house, site, grower or the group. key: level, site_id, house, grower_id, lot_key, part
-- inputs: audit_lots, audit_growers, audit_dues, audit_samplings, sampling_gaps, audit_period
-- part: `routine`, `follow_up`, or `all` of both. counted: on time, late and missed. share_on_time: of the counted; with the
-- excused: of the counted and the excused. An open due and one that nobody could know count in neither. history: of all, those
-- before the site's first night. Samplings are routine ones and retests of the period, whatever became of them; share_proper: of
-- those whose meter checks the site sends. longest_gap_days: of the lots of the row. grower_id: a lot for which two growers answer
-- counts in the row of each, one for which nobody is named in the row without a grower, so the rows of a site's growers may
-- add up to more than the site, never to less; site and group count each lot once. On a lot's row all who answer for it.
with
lots as (
    select
        a.*,
        coalesce(a.house, '') as house_name,
        coalesce(
            (
                select string_agg(g.grower_id, ', ' order by g.grower_id)
                from audit_growers as g
                where g.site_id = a.site_id and g.lot_key = a.lot_key
            ),
            ''
        ) as grower_names
    from audit_lots as a
),

dues as (
    select
        a.site_id,
        a.lot_key,
        unnest([d.part, 'all']) as part,
        d.state,
        d.days_late,
        d.days_open,
        d.is_history,
        d.is_excused_late
    from audit_dues as d
    inner join lots as a on d.site_id = a.site_id and d.lot_key = a.lot_key
),

works as (
    select
        a.site_id,
        a.lot_key,
        s.is_counting,
        s.is_volume_right,
        s.calibrated,
        s.proper,
        s.spread
    from audit_samplings as s
    inner join lots as a on s.site_id = a.site_id and s.lot_key = a.lot_key
    cross join audit_period as p
    where s.sampled_on >= p.from_on and s.purpose in ('routine', 'retest') and s.lines > 0
),

gaps as (
    select
        a.site_id,
        a.lot_key,
        g.days
    from sampling_gaps as g
    inner join lots as a on g.site_id = a.site_id and g.lot_key = a.lot_key
),

firsts as (
    select
        a.site_id,
        a.lot_key,
        min(s.sampled_on) - a.stands_from as days_to_first
    from lots as a
    cross join audit_period as p
    left join audit_samplings as s
        on
            a.site_id = s.site_id
            and a.lot_key = s.lot_key
            and ((s.is_counting and s.purpose in ('routine', 'retest')) or s.is_pair_end)
    where a.stands_from >= p.from_on
    group by a.site_id, a.lot_key, a.stands_from
),

level_names as (
    select unnest(['group', 'site', 'house', 'lot']) as level
),

-- each lot with the rows that it counts in: one a level, and one for each grower who answers for it
placed as (
    select
        a.site_id as of_site_id,
        a.lot_key as of_lot_key,
        n.level,
        case when n.level <> 'group' then a.site_id end as site_id,
        case when n.level in ('house', 'lot') then a.house_name end as house_name,
        case when n.level = 'lot' then a.grower_names end as grower_name,
        case when n.level = 'lot' then a.lot_key end as lot_key
    from lots as a
    cross join level_names as n
    union all
    select
        a.site_id as of_site_id,
        a.lot_key as of_lot_key,
        'grower' as level,
        a.site_id,
        null as house_name,
        coalesce(g.grower_id, '') as grower_name,
        null as lot_key
    from lots as a
    left join audit_growers as g on a.site_id = g.site_id and a.lot_key = g.lot_key
),

sizes as (
    select
        level,
        site_id,
        house_name,
        grower_name,
        lot_key,
        count(*)::integer as lots
    from placed
    group by level, site_id, house_name, grower_name, lot_key
),

counted_dues as (
    select
        r.level,
        r.site_id,
        r.house_name,
        r.grower_name,
        r.lot_key,
        d.part,
        count(*)::integer as dues,
        count(*) filter (where d.state = 'on_time')::integer as on_time,
        count(*) filter (where d.state = 'late')::integer as late,
        count(*) filter (where d.state = 'missed')::integer as missed,
        count(*) filter (where d.state = 'excused')::integer as excused,
        count(*) filter (where d.state = 'excused' and d.is_excused_late)::integer as excused_late,
        count(*) filter (where d.state = 'open')::integer as open_dues,
        count(*) filter (where d.state = 'not_knowable')::integer as not_knowable,
        count(*) filter (where d.is_history)::integer as history,
        max(d.days_late) filter (where d.state = 'late') as most_days_late,
        max(d.days_open) filter (where d.state = 'open') as most_days_open
    from placed as r
    inner join dues as d on r.of_site_id = d.site_id and r.of_lot_key = d.lot_key
    group by r.level, r.site_id, r.house_name, r.grower_name, r.lot_key, d.part
),

counted_works as (
    select
        r.level,
        r.site_id,
        r.house_name,
        r.grower_name,
        r.lot_key,
        count(*)::integer as samplings,
        count(*) filter (where w.is_counting)::integer as counting,
        count(*) filter (where w.is_volume_right)::integer as volumes_right,
        count(*) filter (where w.calibrated = 'yes')::integer as calibrated,
        count(*) filter (where w.calibrated = 'not_shown')::integer as calibration_not_shown,
        count(*) filter (where w.spread = 'yes')::integer as spread,
        count(*) filter (where w.spread = 'not_shown')::integer as spread_not_shown,
        count(*) filter (where w.proper = 'yes')::integer as proper,
        -- also those that fail for another reason: of a site without checks there could only be improper ones
        count(*) filter (where w.calibrated = 'not_shown')::integer as proper_not_shown
    from placed as r
    inner join works as w on r.of_site_id = w.site_id and r.of_lot_key = w.lot_key
    group by r.level, r.site_id, r.house_name, r.grower_name, r.lot_key
),

longest as (
    select
        r.level,
        r.site_id,
        r.house_name,
        r.grower_name,
        r.lot_key,
        max(g.days)::integer as longest_gap_days
    from placed as r
    inner join gaps as g on r.of_site_id = g.site_id and r.of_lot_key = g.lot_key
    group by r.level, r.site_id, r.house_name, r.grower_name, r.lot_key
),

started as (
    select
        r.level,
        r.site_id,
        r.house_name,
        r.grower_name,
        r.lot_key,
        count(*)::integer as lots_started,
        count(f.days_to_first)::integer as lots_started_sampled,
        max(f.days_to_first)::integer as most_days_to_first
    from placed as r
    inner join firsts as f on r.of_site_id = f.site_id and r.of_lot_key = f.lot_key
    group by r.level, r.site_id, r.house_name, r.grower_name, r.lot_key
),

parts as (
    select unnest(['all', 'routine', 'follow_up']) as part
)

select
    z.level,
    z.site_id,
    z.house_name as house,
    z.grower_name as grower_id,
    z.lot_key,
    k.part,
    z.lots,
    coalesce(d.dues, 0)::integer as dues,
    coalesce(d.on_time, 0)::integer as on_time,
    coalesce(d.late, 0)::integer as late,
    coalesce(d.missed, 0)::integer as missed,
    coalesce(d.excused, 0)::integer as excused,
    coalesce(d.excused_late, 0)::integer as excused_late,
    coalesce(d.open_dues, 0)::integer as open_dues,
    coalesce(d.not_knowable, 0)::integer as not_knowable,
    coalesce(d.history, 0)::integer as history,
    coalesce(d.on_time + d.late + d.missed, 0)::integer as counted,
    round(d.on_time / nullif(d.on_time + d.late + d.missed, 0), 4)::decimal(5, 4) as share_on_time,
    round(d.on_time / nullif(d.on_time + d.late + d.missed + d.excused, 0), 4)::decimal(5, 4)
        as share_on_time_with_excused,
    d.most_days_late,
    d.most_days_open,
    coalesce(w.samplings, 0)::integer as samplings,
    coalesce(w.counting, 0)::integer as counting,
    coalesce(w.volumes_right, 0)::integer as volumes_right,
    coalesce(w.calibrated, 0)::integer as calibrated,
    coalesce(w.calibration_not_shown, 0)::integer as calibration_not_shown,
    coalesce(w.spread, 0)::integer as spread,
    coalesce(w.spread_not_shown, 0)::integer as spread_not_shown,
    coalesce(w.proper, 0)::integer as proper,
    coalesce(w.proper_not_shown, 0)::integer as proper_not_shown,
    round(w.proper / nullif(w.samplings - w.proper_not_shown, 0), 4)::decimal(5, 4) as share_proper,
    g.longest_gap_days,
    coalesce(f.lots_started, 0)::integer as lots_started,
    coalesce(f.lots_started_sampled, 0)::integer as lots_started_sampled,
    f.most_days_to_first
from sizes as z
cross join parts as k
left join counted_dues as d
    on
        k.part = d.part
        and z.level = d.level
        and z.site_id is not distinct from d.site_id
        and z.house_name is not distinct from d.house_name
        and z.grower_name is not distinct from d.grower_name
        and z.lot_key is not distinct from d.lot_key
left join counted_works as w
    on
        z.level = w.level
        and z.site_id is not distinct from w.site_id
        and z.house_name is not distinct from w.house_name
        and z.grower_name is not distinct from w.grower_name
        and z.lot_key is not distinct from w.lot_key
left join longest as g
    on
        z.level = g.level
        and z.site_id is not distinct from g.site_id
        and z.house_name is not distinct from g.house_name
        and z.grower_name is not distinct from g.grower_name
        and z.lot_key is not distinct from g.lot_key
left join started as f
    on
        z.level = f.level
        and z.site_id is not distinct from f.site_id
        and z.house_name is not distinct from f.house_name
        and z.grower_name is not distinct from f.grower_name
        and z.lot_key is not distinct from f.lot_key
