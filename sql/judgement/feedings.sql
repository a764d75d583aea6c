-- Days of feeding around which a lot can be read as a pair: the day before and the day of feeding (common practice).
-- grain: one day of feeding of one standing lot. key: site_id, lot_key, fed_on
-- inputs: standing_lots, feed_days, closed_days, policy_feed_pair_crops
-- rules: of periodically fed lots on the problem list, or of a crop asked for, from their last reading on, as far as four weeks'
-- plan can ask. The site samples on the day of feeding; before_on is the last day before it on which it does, at the most three
-- days, across which two samplings are held against each other as a pair (house default; feed_pairs). Without such a day there is
-- nothing to read this feeding by.
with
days as (
    select
        l.site_id,
        l.lot_key,
        lower(trim(l.house)) as house_key,
        unnest(
            generate_series(
                least(coalesce(l.last_due_base_on, l.stands_from), l.as_of) + 1,
                greatest(l.as_of + 27, coalesce(l.last_due_base_on, l.stands_from) + l.first_within_days)
                + l.interval_days,
                interval 1 day
            )
        )::date as day
    from standing_lots as l
    left join policy_feed_pair_crops as x
        on l.site_id = x.site_id and l.crop_key = x.crop_key and l.as_of >= x.valid_from and l.as_of < x.valid_to
    where l.feed_mode = 'periodic' and (l.is_problem_crop or x.crop_key is not null)
),

fed as (
    select distinct
        d.site_id,
        d.lot_key,
        d.day as fed_on
    from days as d
    inner join feed_days as f
        on
            d.site_id = f.site_id
            and (f.house_key is null or d.house_key = f.house_key)
            and (f.lot_key is null or d.lot_key = f.lot_key)
            and (d.day = f.fed_on or isodow(d.day) = f.weekday)
),

near as (
    select
        *,
        unnest(generate_series(fed_on - 3, fed_on, interval 1 day))::date as day
    from fed
),

open_near as (
    select n.*
    from near as n
    where
        not exists (
            select 1
            from closed_days as c
            where c.site_id = n.site_id and (c.closed_on = n.day or c.weekday = isodow(n.day))
        )
)

select
    site_id,
    lot_key,
    fed_on,
    max(day) filter (where day < fed_on) as before_on
from open_near
group by site_id, lot_key, fed_on
having max(day) = fed_on and count(*) > 1
