-- Readings around a feeding: the day before and the day of feeding.
-- grain: one complete pair of one lot, by its second day. key: site_id, lot_key, after_on
-- inputs: samplings, closed_days
-- rules: a pair is one sampling (common practice: the day before and the day of feeding). It is complete where both
-- samplings count and the second one follows on the same day or the next; days on which the site does not sample are
-- passed over, up to the three days across which both are held against each other (house default).
with
around as (
    select
        b.site_id,
        b.lot_key,
        b.sampled_on as before_on,
        a.sampled_on as after_on
    from samplings as b
    inner join samplings as a
        on
            b.site_id = a.site_id
            and b.lot_key = a.lot_key
            and a.sampled_on between b.sampled_on and b.sampled_on + 3
    where b.purpose = 'before_feed' and b.is_counting and a.purpose = 'after_feed' and a.is_counting
),

between_them as (
    select
        *,
        unnest(generate_series(before_on + 1, after_on - 1, interval 1 day))::date as day
    from around
),

waited as (
    select distinct
        d.site_id,
        d.lot_key,
        d.before_on,
        d.after_on
    from between_them as d
    where
        not exists (
            select 1
            from closed_days as c
            where c.site_id = d.site_id and (c.closed_on = d.day or c.weekday = isodow(d.day))
        )
)

select
    p.site_id,
    p.lot_key,
    max(p.before_on) as before_on,
    p.after_on
from around as p
left join waited as w
    on
        p.site_id = w.site_id and p.lot_key = w.lot_key and p.before_on = w.before_on and p.after_on = w.after_on
where w.site_id is null
group by p.site_id, p.lot_key, p.after_on
