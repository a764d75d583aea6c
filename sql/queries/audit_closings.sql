-- Means out of range in an audited period, and how each was closed: what was done, and the next mean in range.
-- grain: one quantity of one row of samplings out on one side, by its first sampling. key: site_id, lot_id, quantity, out_on
-- closed_on: the first judged sampling after it that was in range, up to the end of the period; null where none was.
-- samplings: how many of the row were out. treatments: those from its first day to the day that closed it.
with
judged as (
    select
        s.site_id,
        s.lot_key,
        a.lot_id,
        s.quantity,
        s.sampled_on,
        s.side,
        s.in_a_row,
        s.since_on
    from streaks as s
    inner join audit_lots as a on s.site_id = a.site_id and s.lot_key = a.lot_key and s.sampled_on <= a.last_on
),

outs as (
    select
        j.site_id,
        j.lot_key,
        j.lot_id,
        j.quantity,
        j.side,
        j.since_on as out_on,
        max(j.sampled_on) as last_out_on,
        count(*)::integer as samplings
    from judged as j
    cross join audit_period as p
    where j.side <> 'in_range'
    group by j.site_id, j.lot_key, j.lot_id, j.quantity, j.side, j.since_on, p.from_on
    having max(j.sampled_on) >= p.from_on
),

closed as (
    select
        o.*,
        min(j.sampled_on) as closed_on
    from outs as o
    left join judged as j
        on
            o.site_id = j.site_id
            and o.lot_key = j.lot_key
            and o.quantity = j.quantity
            and o.last_out_on < j.sampled_on
            and j.side = 'in_range'
    group by all
)

select
    c.site_id,
    c.lot_id,
    c.quantity,
    c.side,
    c.out_on,
    c.last_out_on,
    c.samplings,
    string_agg(
        distinct t.treatment || ' ' || t.treated_on::varchar,
        ', ' order by t.treatment || ' ' || t.treated_on::varchar
    ) as treatments,
    c.closed_on
from closed as c
left join treatments as t
    on
        c.site_id = t.site_id
        and c.lot_key = t.lot_key
        and c.out_on <= t.treated_on
        and coalesce(c.closed_on, date '9999-12-31') >= t.treated_on
group by all
order by c.site_id, c.lot_id, c.quantity, c.out_on
