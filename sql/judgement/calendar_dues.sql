-- Samplings that a site's calendar shows: what is overdue, and what is due on the as-of day or in the 27 days after it.
-- grain: one sampling to take of one standing lot. key: site_id, lot_key, why
-- inputs: dues, standing_lots, closed_days, policy
-- rules: a due that is not excused and whose lot has not shipped by then. starts_on: its day; overdue, the as-of day or the next
-- one on which the site samples (as in sampling_plan). One sampling, one event: a due is left out where an earlier one of the
-- lot, taken on its day, answers it too (as on the sheet). A routine sampling and a retest answer each other, a pair around a
-- feeding answers a routine sampling, none a retest whose waiting time is not over. Minutes: pots times the policy's minutes a
-- pot (house default).
with
open_days as (
    select
        s.site_id,
        s.as_of,
        min(s.day) as next_open_on
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

asked as (
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
        d.pots,
        d.nth,
        if(d.due_on < l.as_of, coalesce(o.next_open_on, l.as_of), d.due_on) as starts_on,
        greatest(l.as_of - d.due_on, 0)::integer as days_overdue,
        (d.pots * p.minutes_per_pot)::decimal(9, 2) as minutes
    from dues as d
    inner join standing_lots as l on d.site_id = l.site_id and d.lot_key = l.lot_key
    inner join policy as p on l.site_id = p.site_id and l.as_of >= p.valid_from and l.as_of < p.valid_to
    left join open_days as o on l.site_id = o.site_id
    where
        not d.is_excused
        and d.due_on <= l.as_of + 27
        and d.due_on <= coalesce(l.ends_on, d.due_on)
)

select
    a.site_id,
    a.lot_key,
    a.lot_id,
    a.house,
    a.bench,
    a.crop,
    a.cultivar,
    a.why,
    a.purposes,
    a.due_on,
    a.caused_on,
    a.starts_on,
    a.days_overdue,
    a.pots,
    a.minutes
from asked as a
where
    not exists (
        select 1
        from asked as e
        where
            e.site_id = a.site_id
            and e.lot_key = a.lot_key
            and (e.starts_on < a.starts_on or (e.starts_on = a.starts_on and e.nth < a.nth))
            and coalesce(a.not_before, e.starts_on) <= e.starts_on
            and (
                (e.purposes in ('routine', 'retest') and a.purposes in ('routine', 'retest'))
                or (e.purposes = 'before_feed,after_feed' and a.purposes = 'routine')
            )
    )
