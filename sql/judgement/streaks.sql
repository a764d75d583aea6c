-- Counting samplings out on the same side, one after the other.
-- grain: one judged quantity of one counting routine or retest sampling. key: site_id, lot_key, sampled_on, purpose, quantity
-- inputs: verdicts, treatment_waits
-- rule (ours): one in range ends a row, the other side starts another; too few pots neither ends nor lengthens it, nor does a
-- retest before the waiting time of a treatment is over: it shows what stood in the pots before the treatment could work.
with
judged as (
    select
        v.*,
        v.purpose = 'retest' and exists (
            from treatment_waits as w
            where
                w.site_id = v.site_id
                and w.lot_key = v.lot_key
                and v.sampled_on > w.treated_on
                and v.sampled_on < w.retest_due_on
        ) as is_early
    from verdicts as v
    where v.is_counting and v.purpose in ('routine', 'retest') and v.side is not null
),

numbered as (
    select
        *,
        row_number() over of_lot as nth,
        row_number() over of_side as nth_of_side,
        lag(verdict) over of_lot as verdict_before,
        lag(sampled_on) over of_lot as sampled_before,
        lag(purpose) over of_lot as purpose_before,
        lag(is_beyond_margin) over of_lot as was_beyond_margin
    from judged
    window
        of_lot as (partition by site_id, lot_key, quantity order by sampled_on asc, purpose desc),
        of_side as (partition by site_id, lot_key, quantity, side order by sampled_on asc, purpose desc)
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
        -- an early retest that is the first of its row is still one
        else greatest(
            1,
            count(*) filter (where not is_early) over (
                partition by site_id, lot_key, quantity, side, nth - nth_of_side
                order by sampled_on asc, purpose desc
            )
        )
    end::integer as in_a_row,
    case
        when side <> 'in_range' then min(sampled_on) over (
            partition by site_id, lot_key, quantity, side, nth - nth_of_side
        )
    end as since_on,
    verdict_before,
    sampled_before,
    purpose_before,
    is_beyond_margin and coalesce(was_beyond_margin, false) as are_last_two_beyond_margin
from numbered
