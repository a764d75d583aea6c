-- The samplings of the four weeks from the as-of day on, as they stand if each is taken on its day.
-- grain: one planned sampling. key: site_id, lot_key, plan_on, purposes
-- inputs: dues, standing_lots, exemptions, closed_days, sites, policy, run
-- rules: every due that is not excused, the ruling one first, on its day; what is overdue on the as-of day, or on the next day on
-- which the site samples. From the day planned for the routine sampling the routine interval rolls on, to the last open day
-- not after it, until the lot's end or the 28th day; days for which the lot is excused are left out. A retest, or a pair around a
-- feeding, serves as the routine sampling of its day. Minutes: pots times the policy's minutes a pot (house default).
with recursive
days as (
    select
        s.site_id,
        t.as_of + n.n::integer as day,
        t.as_of,
        not exists (
            select 1
            from closed_days as c
            where
                c.site_id = s.site_id
                and (c.closed_on = t.as_of + n.n::integer or c.weekday = isodow(t.as_of + n.n::integer))
        ) as is_open
    from sites as s
    cross join run as t
    -- 27 days and the longest interval that a policy can have
    cross join range(0, 118) as n (n)
),

calendar as (
    select
        site_id,
        day,
        max(day) filter (where is_open) over (partition by site_id order by day asc) as open_on,
        min(day) filter (where is_open) over (partition by site_id) as next_open_on
    from days
),

asked as (
    select
        d.site_id,
        d.lot_key,
        d.nth,
        d.why,
        d.due_on,
        d.purposes,
        d.pots,
        if(d.due_on < l.as_of, coalesce(c.next_open_on, l.as_of), d.due_on) as plan_on
    from dues as d
    inner join standing_lots as l on d.site_id = l.site_id and d.lot_key = l.lot_key
    left join calendar as c on l.site_id = c.site_id and l.as_of = c.day
    where not d.is_excused and d.due_on <= l.as_of + 27
),

rolled as (
    select
        site_id,
        lot_key,
        plan_on,
        0 as step
    from asked
    where purposes = 'routine'
    union all
    select
        r.site_id,
        r.lot_key,
        if(c.open_on > r.plan_on, c.open_on, c.day) as plan_on,
        r.step + 1 as step
    from rolled as r
    inner join standing_lots as l on r.site_id = l.site_id and r.lot_key = l.lot_key
    inner join calendar as c on r.site_id = c.site_id and r.plan_on + l.interval_days = c.day
    where
        if(c.open_on > r.plan_on, c.open_on, c.day) <= l.as_of + 27
        and if(c.open_on > r.plan_on, c.open_on, c.day) <= coalesce(l.ends_on, date '9999-12-31')
),

planned as (
    select
        site_id,
        lot_key,
        plan_on,
        due_on,
        why,
        purposes,
        pots,
        nth
    from asked
    union all
    select
        r.site_id,
        r.lot_key,
        r.plan_on,
        r.plan_on as due_on,
        if(l.is_problem_crop, 'problem_crop', 'routine') as why,
        'routine' as purposes,
        l.min_usable_pots as pots,
        1000 + r.step as nth
    from rolled as r
    inner join standing_lots as l on r.site_id = l.site_id and r.lot_key = l.lot_key
    where
        r.step > 0
        and not exists (
            select 1
            from exemptions as e
            where
                e.site_id = r.site_id
                and e.lot_key = r.lot_key
                and e.entered_on <= l.as_of
                and r.plan_on >= e.from_on
                and r.plan_on <= e.until_on
                and (e.purpose is null or e.purpose = 'routine')
        )
),

served as (
    select
        *,
        bool_or(purposes in ('retest', 'before_feed,after_feed')) over (
            partition by site_id, lot_key, plan_on
        ) as is_read_anyway
    from planned
)

select
    l.site_id,
    l.lot_key,
    l.house,
    s.plan_on,
    s.due_on,
    s.why,
    s.purposes,
    s.pots,
    (s.pots * p.minutes_per_pot)::decimal(9, 2) as minutes
from served as s
inner join standing_lots as l on s.site_id = l.site_id and s.lot_key = l.lot_key
inner join policy as p on l.site_id = p.site_id and l.as_of >= p.valid_from and l.as_of < p.valid_to
where
    s.plan_on <= least(l.as_of + 27, coalesce(l.ends_on, date '9999-12-31'))
    and not (s.purposes = 'routine' and s.is_read_anyway)
qualify row_number() over (partition by s.site_id, s.lot_key, s.plan_on, s.purposes order by s.nth) = 1
