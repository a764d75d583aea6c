-- Counting samplings out on the same side, one after the other.
-- grain: one judged quantity of one counting routine or retest sampling. key: site_id, lot_key, sampled_on, purpose, quantity
-- inputs: verdicts
-- rule (ours): one in range ends a row, the other side starts another; too few pots neither ends nor lengthens it.
with
judged as (
    select
        *,
        row_number() over (partition by site_id, lot_key, quantity order by sampled_on asc, purpose desc) as nth,
        row_number()
            over (partition by site_id, lot_key, quantity, side order by sampled_on asc, purpose desc)
            as nth_of_side,
        lag(verdict)
            over (partition by site_id, lot_key, quantity order by sampled_on asc, purpose desc)
            as verdict_before,
        lag(is_beyond_margin) over (partition by site_id, lot_key, quantity order by sampled_on asc, purpose desc)
            as was_beyond_margin
    from verdicts
    where is_counting and purpose in ('routine', 'retest') and side is not null
)

select
    site_id,
    lot_key,
    sampled_on,
    purpose,
    quantity,
    side,
    case
        when side = 'in_range' then 0
        else row_number() over (
            partition by site_id, lot_key, quantity, side, nth - nth_of_side
            order by sampled_on asc, purpose desc
        )
    end::integer as in_a_row,
    case
        when side <> 'in_range' then min(sampled_on) over (
            partition by site_id, lot_key, quantity, side, nth - nth_of_side
        )
    end as since_on,
    verdict_before,
    is_beyond_margin and coalesce(was_beyond_margin, false) as are_last_two_beyond_margin
from judged
