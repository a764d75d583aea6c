-- Stretches of days without a counting sampling, start and end of the period (or of the lot) included.
-- grain: one stretch of one lot. key: site_id, lot_key, from_on
-- inputs: audit_lots, audit_samplings, audit_period
-- days: from one day to the other. begins, ends: `start`, `sampling` or `end`, what stands at either side
with
points as (
    select
        a.site_id,
        a.lot_key,
        greatest(p.from_on, a.stands_from) as day,
        'start' as what
    from audit_lots as a
    cross join audit_period as p
    union all
    select distinct
        s.site_id,
        s.lot_key,
        s.sampled_on as day,
        'sampling' as what
    from audit_samplings as s
    cross join audit_period as p
    where
        s.sampled_on >= p.from_on
        and ((s.is_counting and s.purpose in ('routine', 'retest')) or s.is_pair_end)
    union all
    select
        site_id,
        lot_key,
        last_on as day,
        'end' as what
    from audit_lots
),

stretches as (
    select
        site_id,
        lot_key,
        day as from_on,
        lead(day) over in_order as to_on,
        what as begins,
        lead(what) over in_order as ends
    from points
    window
        in_order as (
            partition by site_id, lot_key
            order by
                day asc,
                case what
                    when 'start' then 1
                    when 'sampling' then 2
                    else 3
                end
        )
)

select
    site_id,
    lot_key,
    from_on,
    to_on,
    (to_on - from_on)::integer as days,
    begins,
    ends
from stretches
where to_on > from_on
