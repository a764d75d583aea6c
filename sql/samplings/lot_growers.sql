-- Which head grower answers for which lot: for the growers' mail and for compliance by grower alike.
-- grain: one grower of one lot. key: site_id, lot_key, grower_id
-- inputs: current_lots, grower_houses
-- named_by (house rules): `list` whom the lot list names, where the settings know her, and nobody beside her; else `house` every
-- grower who has the lot's house by the settings, so a house may be shared; else `list_alone` whom the list names though the
-- settings do not know her. A lot for which nobody is named has no row.
with
known as (
    select distinct
        site_id,
        grower_id
    from grower_houses
),

listed as (
    select
        l.site_id,
        l.lot_key,
        l.grower_id,
        'list' as named_by
    from current_lots as l
    inner join known as k on l.site_id = k.site_id and l.grower_id = k.grower_id
),

housed as (
    select distinct
        l.site_id,
        l.lot_key,
        h.grower_id,
        'house' as named_by
    from current_lots as l
    inner join grower_houses as h
        on l.site_id = h.site_id and (h.house_key is null or h.house_key = lower(trim(l.house)))
    where
        not exists (
            select 1
            from listed as o
            where o.site_id = l.site_id and o.lot_key = l.lot_key
        )
)

select * from listed
union all
select * from housed
union all
select
    l.site_id,
    l.lot_key,
    l.grower_id,
    'list_alone' as named_by
from current_lots as l
where
    l.grower_id is not null
    and not exists (
        select 1
        from listed as o
        where o.site_id = l.site_id and o.lot_key = l.lot_key
    )
    and not exists (
        select 1
        from housed as o
        where o.site_id = l.site_id and o.lot_key = l.lot_key
    )
