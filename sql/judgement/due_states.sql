-- The due that rules, and how it stands on the as-of date.
-- grain: one standing lot. key: site_id, lot_key
-- inputs: standing_lots, dues
-- rules: the earliest due that is not excused rules; due this week is today and the six days after it. `excused`: an excused one
-- came before it, and the excuse still holds; where the ruling one falls within the week or before, because the excuse is for
-- another purpose or ends by then, its own state is told instead: an excuse hides nothing it does not excuse.
with
covering as (
    select
        r.site_id,
        r.lot_key,
        e.excused_until,
        e.excuse_reason,
        e.excused_by,
        e.is_excused_late
    from dues as r
    inner join standing_lots as l on r.site_id = l.site_id and r.lot_key = l.lot_key
    inner join dues as e
        on r.site_id = e.site_id and r.lot_key = e.lot_key and e.is_excused and r.due_on >= e.due_on
    where
        r.nth = 1
        and l.as_of <= e.excused_until
        and r.due_on > l.as_of + 6
    qualify
        row_number() over (
            partition by r.site_id, r.lot_key
            order by e.due_on asc, e.excused_until desc, e.why asc
        ) = 1
)

select
    l.site_id,
    l.lot_key,
    d.why,
    d.due_on,
    d.rule_on,
    d.caused_on,
    d.interval_days,
    d.purposes,
    d.pots,
    case
        when x.excused_until is not null then 'excused'
        when d.due_on > l.ends_on then 'ships_first'
        when d.due_on < l.as_of and l.last_any_on is null then 'never_sampled'
        when d.due_on < l.as_of then 'overdue'
        when d.due_on <= l.as_of + 6 then 'due_this_week'
        else 'not_yet'
    end as state,
    case when d.due_on < l.as_of and d.due_on <= coalesce(l.ends_on, d.due_on) then l.as_of - d.due_on end::integer
        as days_overdue,
    x.excused_until,
    x.excuse_reason,
    x.excused_by,
    coalesce(x.is_excused_late, false) as is_excused_late
from standing_lots as l
inner join dues as d on l.site_id = d.site_id and l.lot_key = d.lot_key and d.nth = 1
left join covering as x on l.site_id = x.site_id and l.lot_key = x.lot_key
