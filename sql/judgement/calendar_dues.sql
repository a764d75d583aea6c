-- Samplings that a site's calendar can show: what is overdue, and what is due on the as-of day or in the 27 days after it.
-- grain: one due of one standing lot that is not excused, or each half of a pair around a feeding. key: site_id, lot_key, why, purposes
-- inputs: dues, standing_lots, closed_days, policy
-- rules: a lot that ships before its due day is not asked for. starts_on: the day of the due; once that is past, the as-of day
-- or the next one on which the site samples, and for the second half of a pair the one after that; an overdue pair begins around the
-- next feeding, where one is known (as in sampling_plan). Minutes: pots times the policy's minutes a pot (house default).
-- Which of a lot's dues one sampling answers is not looked at here.
with
open_days as (
    select
        s.site_id,
        s.as_of,
        min(s.day) as next_open_on,
        min(s.day, 2)[2] as later_open_on
    from (
        select distinct
            site_id,
            as_of,
            unnest(generate_series(as_of, as_of + 27, interval 1 day))::date as day
        from standing_lots
    ) as s
    where
        not exists (
            select 1
            from closed_days as c
            where c.site_id = s.site_id and (c.closed_on = s.day or c.weekday = isodow(s.day))
        )
    group by s.site_id, s.as_of
),

halved as (
    select
        * exclude (purposes, pots, due_on),
        purposes = 'before_feed,after_feed' as is_pair,
        unnest(if(is_pair, ['before_feed', 'after_feed'], [purposes])) as purposes,
        due_on as first_on,
        if(is_pair, pots // 2, pots) as pots
    from dues
),

dated as (
    select
        *,
        if(is_pair and purposes = 'after_feed', rule_on + 1, first_on) as due_on
    from halved
)

select
    d.site_id,
    d.lot_key,
    l.lot_id,
    l.house,
    l.bench,
    l.crop,
    l.cultivar,
    d.why,
    d.purposes,
    d.due_on,
    d.not_before,
    d.caused_on,
    case
        when d.first_on >= l.as_of then d.due_on
        when d.is_pair and d.purposes = 'after_feed'
            then coalesce(d.next_fed_on, o.later_open_on, coalesce(o.next_open_on, l.as_of) + 1)
        else coalesce(d.next_before_on, o.next_open_on, l.as_of)
    end as starts_on,
    greatest(l.as_of - d.due_on, 0)::integer as days_overdue,
    d.pots,
    d.nth,
    (d.pots * p.minutes_per_pot)::decimal(9, 2) as minutes
from dated as d
inner join standing_lots as l on d.site_id = l.site_id and d.lot_key = l.lot_key
inner join policy as p on l.site_id = p.site_id and l.as_of >= p.valid_from and l.as_of < p.valid_to
left join open_days as o on l.site_id = o.site_id
where
    not d.is_excused
    and d.first_on <= l.as_of + 27
    and d.due_on <= l.as_of + 27
    and coalesce(d.next_before_on, d.due_on) <= coalesce(l.ends_on, date '9999-12-31')
