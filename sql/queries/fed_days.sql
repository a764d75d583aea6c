-- Days of the last year on which periodically fed standing lots got their feed, as the site's settings name them.
-- grain: one day of one standing lot. key: site_id, lot_key, fed_on
with
stood as (
    select
        site_id,
        lot_key,
        lower(trim(house)) as house_key,
        unnest(generate_series(greatest(started_on, as_of - 364), as_of, interval 1 day))::date as day
    from standing_lots
    where feed_mode = 'periodic'
)

select distinct
    s.site_id,
    s.lot_key,
    s.day as fed_on
from stood as s
inner join feed_days as f
    on
        s.site_id = f.site_id
        and (f.house_key is null or s.house_key = f.house_key)
        and (f.lot_key is null or s.lot_key = f.lot_key)
        and (s.day = f.fed_on or isodow(s.day) = f.weekday)
