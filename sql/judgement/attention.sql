-- Who needs somebody, and in which order.
-- grain: one standing lot. key: site_id, lot_key
-- inputs: standing_lots, reasons, last_verdicts, pair_verdicts
-- rule (house default): level, then distance beyond the edge in steps (0.2 pH = 0.5 mS/cm = one step; a high EC read while the lot is
-- finishing times the policy's weight) times one plus the number in a row, and one more where the retest after a treatment was missed or is still out on the side it was out before; then
-- plants, then days to the lot's end.
with
levels as (
    select
        l.site_id,
        l.lot_key,
        case
            when bool_or(r.level = 'act') then 'act'
            when bool_or(r.level = 'no_reading') then 'no_reading'
            when bool_or(r.level = 'watch') then 'watch'
            else 'ok'
        end as level,
        coalesce(bool_or(r.code in ('retest_missed', 'unmoved_after_treatment')), false) as is_retest_bad
    from standing_lots as l
    left join reasons as r on l.site_id = r.site_id and l.lot_key = r.lot_key
    group by l.site_id, l.lot_key
),

beyond as (
    select
        site_id,
        lot_key,
        steps_beyond * weight as steps,
        in_a_row
    from last_verdicts
    where side in ('low', 'high') and not is_low_ec_outside_active
    union all by name
    -- a pair around a feeding stands in no row
    select
        site_id,
        lot_key,
        steps_beyond * weight as steps,
        1 as in_a_row
    from pair_verdicts
    where not is_low_ec_outside_active
),

scores as (
    select
        v.site_id,
        v.lot_key,
        max(v.steps * (1 + v.in_a_row + if(r.is_retest_bad, 1, 0))) as score
    from beyond as v
    inner join levels as r on v.site_id = r.site_id and v.lot_key = r.lot_key
    group by v.site_id, v.lot_key
),

scored as (
    select
        l.site_id,
        l.lot_key,
        v.level,
        round(coalesce(s.score, 0.0), 6) as score,
        l.plants,
        (l.ends_on - l.as_of)::integer as days_to_end
    from standing_lots as l
    inner join levels as v on l.site_id = v.site_id and l.lot_key = v.lot_key
    left join scores as s on l.site_id = s.site_id and l.lot_key = s.lot_key
)

select
    *,
    row_number() over (
        order by
            case level when 'act' then 1 when 'no_reading' then 2 when 'watch' then 3 else 4 end,
            score desc,
            plants desc nulls last,
            days_to_end asc nulls last,
            site_id asc,
            lot_key asc
    )::integer as rank
from scored
