-- What a site's lists say against each other: planted lots that no lot list has, lots that left it while readings of them
-- came, lots that end before they start, samplers without training, codes twice, and pots whose numbers do not tell them apart.
-- grain: one rule's remark on one site. key: site_id, rule
-- inputs: plantings, people, current_lots, usable_readings, files, file_order, record_versions, record_fates, repeated_pots, lot_lines, policy_finding_levels, run
-- rules (house defaults): only what is planted by the as-of date and not yet shipped; readings of the last 28 days; only
-- where the site sends the list. Lot codes are the same whatever their case.
-- names: lots, people or files, each once, in order. readings: of these people, of these lots that wait, or in these files.
with
missing_lots as (
    select
        p.site_id,
        list(p.lot_id order by p.lot_id) as names,
        null::integer as readings
    from plantings as p
    cross join run as t
    where
        not p.is_listed
        and coalesce(p.planted_on, t.as_of) <= t.as_of
        and coalesce(p.ships_on, t.as_of) >= t.as_of
    group by p.site_id
),

sites_with_people as (
    select distinct site_id
    from people
),

untrained as (
    select
        u.site_id,
        list_sort(list(distinct u.sampler)) as names,
        count(*)::integer as readings
    from usable_readings as u
    inner join sites_with_people as s on u.site_id = s.site_id
    cross join run as t
    left join people as p on u.site_id = p.site_id and lower(u.sampler) = p.person_key
    where
        u.sampler is not null
        and u.sampled_on > t.as_of - 28
        and (p.person_key is null or p.trained_on > u.sampled_on)
    group by u.site_id
),

newest_lists as (
    select arg_max(f.file_id, o.order_no) as file_id
    from files as f
    inner join file_order as o on f.file_id = o.file_id
    where f.kind = 'lots' and f.problem is null
    group by f.site_id, f.export_no
),

written as (
    select distinct
        v.site_id,
        lower(l.lot_code) as lot_key,
        l.lot_code
    from newest_lists as n
    inner join record_versions as v on n.file_id = v.file_id
    inner join lot_lines as l on v.line_file_id = l.file_id and v.line_record_no = l.record_no
    where l.lot_code is not null
),

twice as (
    select
        site_id,
        list(codes order by codes) as names,
        null::integer as readings
    from (
        select
            site_id,
            string_agg(lot_code, ' / ' order by lot_code) as codes
        from written
        group by site_id, lot_key
        having count(*) > 1
    )
    group by site_id
),

gone_lots as (
    select
        v.site_id,
        lower(l.lot_code) as lot_key,
        any_value(l.lot_code) as lot_code
    from record_versions as v
    inner join lot_lines as l on v.file_id = l.file_id and v.record_no = l.record_no
    where v.kind = 'lots' and l.lot_code is not null
    group by v.site_id, lower(l.lot_code)
    having bool_or(v.version = 'withdrawn') and not bool_or(v.version = 'current')
),

waiting as (
    select
        f.site_id,
        list(distinct g.lot_code order by g.lot_code) as names,
        count(*)::integer as readings
    from record_fates as f
    inner join gone_lots as g on f.site_id = g.site_id and lower(f.what) = g.lot_key
    where f.cause = 'lot_unknown' and f.export_kind = 'readings'
    group by f.site_id
),

-- Such a lot stands on no day: nobody would be asked to sample it, and no page would have it.
backward_lots as (
    select
        site_id,
        list(lot_id order by lot_id) as names,
        null::integer as readings
    from current_lots
    where is_usable and ends_on < started_on
    group by site_id
),

-- Each sampling is said in the night in which an export has it for the first time.
new_repeats as (
    select
        f.site_id,
        f.export_no,
        f.night_no,
        f.name,
        p.lines
    from repeated_pots as p
    inner join files as f on p.file_id = f.file_id
    qualify
        row_number() over (
            partition by f.site_id, f.export_no, p.lot_key, p.sampled_on, p.purpose
            order by f.file_id
        ) = 1
),

unnumbered as (
    select
        n.site_id,
        list(distinct n.name order by n.name) as names,
        sum(n.lines)::integer as readings
    from new_repeats as n
    inner join run as t on n.night_no = t.night_no
    group by n.site_id
),

remarks as (
    select
        'lot_not_listed' as rule,
        'warn' as level,
        *
    from missing_lots
    union all
    select
        'sampler_not_trained',
        'note',
        *
    from untrained
    union all
    select
        'lot_code_twice',
        'note',
        *
    from twice
    union all
    select
        'lot_gone',
        'warn',
        *
    from waiting
    union all
    select
        'lot_ends_first',
        'warn',
        *
    from backward_lots
    union all
    select
        'pots_not_told_apart',
        'note',
        *
    from unnumbered
)

select
    r.* replace (coalesce(o.level, r.level) as level)
from remarks as r
cross join run as t
left join policy_finding_levels as o
    on r.site_id = o.site_id and r.rule = o.rule and t.as_of >= o.valid_from and t.as_of < o.valid_to
where o.level is distinct from 'off'
