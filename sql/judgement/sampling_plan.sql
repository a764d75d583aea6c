-- The samplings of the four weeks from the as-of day on, as they stand if each is taken on its day and finds nothing new.
-- grain: one planned sampling. key: site_id, lot_key, plan_on, purposes
-- inputs: dues, standing_lots, exemptions, closed_days, feedings, sites, policy, run
-- rules: every due that is not excused is planned on its day; what is overdue on the as-of day, or on the next of the 28 days from
-- it on which the site samples. One sampling answers several dues, as on the sheet: a routine sampling is left out where a retest or
-- a pair of the lot comes before it; a retest where a routine sampling or another retest does, unless the wait after a treatment is
-- not over by then; the retest after a pair also where another pair is whole by its day. A pair around a feeding is two samplings
-- on two days, the second the day of feeding; one that is overdue is planned around the next feeding or, where none is known, on
-- the next two days on which the site samples. From each routine sampling, retest or second day of a pair the routine interval
-- begins anew: a pair around the last feeding within it that can be read so (feedings), else a routine sampling on the last open
-- day not after it, until the lot's end or the last of the days; days for which the lot is excused are left out.
-- Minutes: pots times the policy's minutes a pot (house default).
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
        min(day) filter (where is_open and day <= as_of + 27) over later_days as later_open_on,
        min(day) filter (where is_open and day <= as_of + 27) over (partition by site_id) as next_open_on
    from days
    window later_days as (
        partition by site_id
        order by day asc
        rows between 1 following and unbounded following
    )
),

asked as (
    select
        d.site_id,
        d.lot_key,
        d.nth,
        d.why,
        d.rule_on,
        d.due_on,
        d.not_before,
        d.next_fed_on,
        d.purposes,
        d.pots,
        d.purposes = 'before_feed,after_feed' as is_pair,
        if(d.due_on < l.as_of, coalesce(d.next_before_on, c.next_open_on, l.as_of), d.due_on) as plan_on
    from dues as d
    inner join standing_lots as l on d.site_id = l.site_id and d.lot_key = l.lot_key
    left join calendar as c on l.site_id = c.site_id and l.as_of = c.day
    where not d.is_excused and d.due_on <= l.as_of + 27
),

ordered as (
    select
        a.*,
        case
            when not a.is_pair then a.plan_on
            when a.due_on < a.plan_on then coalesce(a.next_fed_on, c.later_open_on, a.plan_on + 1)
            else a.rule_on + 1
        end as whole_on,
        row_number() over (partition by a.site_id, a.lot_key order by a.plan_on, a.nth) as turn
    from asked as a
    left join calendar as c on a.site_id = c.site_id and a.plan_on = c.day
),

-- of each lot the turn and the day of the dues that one sampling can answer
turns as (
    select
        site_id,
        lot_key,
        min(turn) filter (where purposes = 'routine') as routine_turn,
        min(plan_on) filter (where purposes = 'routine') as routine_on,
        min(turn) filter (where why = 'after_out') as out_turn,
        min(plan_on) filter (where why = 'after_out') as out_on,
        min(turn) filter (where why = 'after_treatment') as treated_turn,
        min(not_before) filter (where why = 'after_treatment') as treated_not_before,
        min(turn) filter (where why = 'feed_pair') as pair_turn,
        min(whole_on) filter (where why = 'feed_pair') as pair_on,
        min(turn) filter (where why = 'after_pair_out') as again_turn,
        min(plan_on) filter (where why = 'after_pair_out') as again_on
    from ordered
    group by site_id, lot_key
),

routine_told as (
    select
        *,
        coalesce(least(out_turn, treated_turn, pair_turn, again_turn) < routine_turn, false) as is_routine_answered,
        coalesce(pair_turn < again_turn and pair_on <= again_on, false) as is_again_by_pair
    from turns
),

out_told as (
    select
        *,
        coalesce(treated_turn < out_turn, false)
        or coalesce(not is_again_by_pair and again_turn < out_turn, false)
        or coalesce(not is_routine_answered and routine_turn < out_turn, false) as is_out_answered,
        is_again_by_pair
        or coalesce(least(out_turn, treated_turn) < again_turn, false)
        or coalesce(not is_routine_answered and routine_turn < again_turn, false) as is_again_answered
    from routine_told
),

answered as (
    select
        *,
        coalesce(
            not is_routine_answered and routine_turn < treated_turn and routine_on >= treated_not_before, false
        )
        or coalesce(not is_out_answered and out_turn < treated_turn and out_on >= treated_not_before, false)
        or coalesce(not is_again_answered and again_turn < treated_turn and again_on >= treated_not_before, false)
            as is_treated_answered
    from out_told
),

kept as (
    select o.*
    from ordered as o
    inner join answered as a on o.site_id = a.site_id and o.lot_key = a.lot_key
    where
        case
            when o.purposes = 'routine' then not a.is_routine_answered
            when o.why = 'after_out' then not a.is_out_answered
            when o.why = 'after_pair_out' then not a.is_again_answered
            when o.why = 'after_treatment' then not a.is_treated_answered
            else true
        end
),

halved as (
    select
        * exclude (purposes, pots),
        unnest(if(is_pair, ['before_feed', 'after_feed'], [purposes])) as purposes,
        if(is_pair, pots // 2, pots) as pots
    from kept
),

fixed as (
    select
        site_id,
        lot_key,
        if(purposes = 'after_feed', whole_on, plan_on) as plan_on,
        if(is_pair and purposes = 'after_feed', rule_on + 1, due_on) as due_on,
        why,
        purposes,
        pots,
        nth
    from halved
),

-- days from which the routine interval begins anew, each with the one after it
renewed as (
    select
        site_id,
        lot_key,
        plan_on,
        lead(plan_on) over (partition by site_id, lot_key order by plan_on asc) as next_on,
        row_number() over (partition by site_id, lot_key order by plan_on asc) as turn
    from (
        select distinct
            site_id,
            lot_key,
            plan_on
        from fixed
        where purposes in ('routine', 'retest', 'after_feed')
    )
),

-- of a reading on a day the feeding around which the next one is taken
next_pairs as (
    select
        f.site_id,
        f.lot_key,
        c.day as began_on,
        max(f.fed_on) as fed_on,
        max(f.before_on) as before_on
    from feedings as f
    inner join standing_lots as l on f.site_id = l.site_id and f.lot_key = l.lot_key
    inner join calendar as c
        on
            f.site_id = c.site_id
            and f.before_on > c.day
            and f.fed_on between c.day + 2 and c.day + l.interval_days
    group by f.site_id, f.lot_key, c.day
),

rolled as (
    select
        r.site_id,
        r.lot_key,
        r.plan_on as began_on,
        r.plan_on as first_on,
        r.plan_on,
        r.next_on,
        false as is_pair,
        0 as step
    from renewed as r
    union all
    select
        r.site_id,
        r.lot_key,
        r.began_on,
        coalesce(f.before_on, if(c.open_on > r.plan_on, c.open_on, c.day)) as first_on,
        coalesce(f.fed_on, if(c.open_on > r.plan_on, c.open_on, c.day)) as plan_on,
        r.next_on,
        f.fed_on is not null as is_pair,
        r.step + 1 as step
    from rolled as r
    inner join standing_lots as l on r.site_id = l.site_id and r.lot_key = l.lot_key
    inner join calendar as c on r.site_id = c.site_id and r.plan_on + l.interval_days = c.day
    left join next_pairs as f
        on r.site_id = f.site_id and r.lot_key = f.lot_key and r.plan_on = f.began_on
    where
        coalesce(f.before_on, if(c.open_on > r.plan_on, c.open_on, c.day))
        <= least(l.as_of + 27, coalesce(l.ends_on, date '9999-12-31'))
        and coalesce(f.fed_on, if(c.open_on > r.plan_on, c.open_on, c.day))
        < coalesce(r.next_on, date '9999-12-31')
),

following as (
    select
        *,
        unnest(if(is_pair, ['before_feed', 'after_feed'], ['routine'])) as purposes
    from rolled
    where step > 0
),

planned as (
    select * from fixed
    union all by name
    select
        r.site_id,
        r.lot_key,
        if(r.purposes = 'before_feed', r.first_on, r.plan_on) as plan_on,
        if(r.purposes = 'before_feed', r.first_on, r.plan_on) as due_on,
        case when r.is_pair then 'feed_pair' when l.is_problem_crop then 'problem_crop' else 'routine' end as why,
        r.purposes,
        l.asked_pots as pots,
        1000 + r.step as nth
    from following as r
    inner join standing_lots as l on r.site_id = l.site_id and r.lot_key = l.lot_key
    where
        not exists (
            select 1
            from exemptions as e
            where
                e.site_id = r.site_id
                and e.lot_key = r.lot_key
                and e.entered_on <= l.as_of
                and r.first_on >= e.from_on
                and r.first_on <= e.until_on
                and (
                    e.purpose is null
                    or (not r.is_pair and e.purpose = 'routine')
                    or (r.is_pair and e.purpose in ('before_feed', 'after_feed'))
                )
        )
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
from planned as s
inner join standing_lots as l on s.site_id = l.site_id and s.lot_key = l.lot_key
inner join policy as p on l.site_id = p.site_id and l.as_of >= p.valid_from and l.as_of < p.valid_to
where s.plan_on <= least(l.as_of + 27, coalesce(l.ends_on, date '9999-12-31'))
qualify row_number() over (partition by s.site_id, s.lot_key, s.plan_on, s.purposes order by s.nth) = 1
