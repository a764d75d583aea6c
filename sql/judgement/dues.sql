-- Samplings that ought to happen: every one that a rule asks for.
-- grain: one rule's due of one standing lot. key: site_id, lot_key, why
-- inputs: standing_lots, last_verdicts
-- rules: first within 7 days of the start (common practice: soon; 7 days house default); routine about every two weeks
-- (common practice), plugs every 3 days (published: two to three times a week, NC State HIL 590); crops on the problem list and
-- lots out of range after 7 days (house default).
with
asked as (
    select
        site_id,
        lot_key,
        'first' as why,
        stands_from + first_within_days as due_on,
        first_within_days as interval_days
    from standing_lots
    where last_counting_on is null
    union all
    select
        site_id,
        lot_key,
        case when is_problem_crop then 'problem_crop' else 'routine' end as why,
        last_counting_on + interval_days as due_on,
        interval_days
    from standing_lots
    where last_counting_on is not null
    union all
    select
        l.site_id,
        l.lot_key,
        'after_out' as why,
        l.last_counting_on + l.after_out_interval_days as due_on,
        l.after_out_interval_days as interval_days
    from standing_lots as l
    where
        exists (
            select 1
            from last_verdicts as v
            where
                v.site_id = l.site_id
                and v.lot_key = l.lot_key
                and v.verdict in ('out', 'clearly_out')
                and not v.is_low_ec_outside_active
        )
)

select
    site_id,
    lot_key,
    why,
    due_on,
    interval_days,
    row_number() over (
        partition by site_id, lot_key
        order by due_on, case why when 'after_out' then 1 when 'problem_crop' then 2 else 3 end
    )::integer as nth
from asked
