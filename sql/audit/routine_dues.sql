-- The routine schedule of each audited lot, one due after the other from its start on.
-- grain: one routine due of one lot. key: site_id, lot_key, step
-- inputs: audit_lots, rule_spans, audit_samplings
-- rules: the first due lies first_within_days after the start; a counting sampling (or the second day of a pair around a feeding)
-- answers the due that stands, and the schedule starts anew from it. Where none comes before the next due, that one takes its place:
-- the schedule rolls on by the routine interval, also after a first one; a sampling on the very day of the next due answers that.
-- The interval is the one of the policy and container of the day from which it is counted (counted_from).
-- caused_on: start or sampling from which the row of dues is counted; taken_on: the sampling that answered, null where none did.
-- known_on: the day on which a lot list that gives this due was first received.
with recursive
bases as (
    select
        site_id,
        lot_key,
        sampled_on,
        row_number() over (partition by site_id, lot_key order by sampled_on)::integer as nth
    from (
        select distinct
            site_id,
            lot_key,
            sampled_on
        from audit_samplings
        where (is_counting and purpose in ('routine', 'retest')) or is_pair_end
    )
),

steps as (
    select
        a.site_id,
        a.lot_key,
        1 as step,
        1 as nth,
        'first' as why,
        r.why = 'problem_crop' as is_problem_crop,
        a.stands_from as caused_on,
        a.stands_from as counted_from,
        r.first_within_days as interval_days,
        r.grace_days,
        a.stands_from + r.first_within_days as due_on,
        a.stands_from + r.first_within_days + n.interval_days as next_on,
        r.known_on,
        a.last_on
    from audit_lots as a
    inner join rule_spans as r
        on
            a.site_id = r.site_id
            and a.lot_key = r.lot_key
            and a.stands_from >= r.span_from
            and a.stands_from < r.span_to
    inner join rule_spans as n
        on
            a.site_id = n.site_id
            and a.lot_key = n.lot_key
            and a.stands_from + r.first_within_days >= n.span_from
            and a.stands_from + r.first_within_days < n.span_to
    union all
    select
        s.site_id,
        s.lot_key,
        s.step + 1 as step,
        if(s.next_on > b.sampled_on, s.nth + 1, s.nth) as nth,
        r.why,
        r.why = 'problem_crop' as is_problem_crop,
        if(s.next_on > b.sampled_on, b.sampled_on, s.caused_on) as caused_on,
        if(s.next_on > b.sampled_on, b.sampled_on, s.due_on) as counted_from,
        r.interval_days,
        r.grace_days,
        if(s.next_on > b.sampled_on, b.sampled_on, s.due_on) + r.interval_days as due_on,
        if(s.next_on > b.sampled_on, b.sampled_on, s.due_on) + r.interval_days + n.interval_days as next_on,
        r.known_on,
        s.last_on
    from steps as s
    left join bases as b on s.site_id = b.site_id and s.lot_key = b.lot_key and s.nth = b.nth
    inner join rule_spans as r
        on
            s.site_id = r.site_id
            and s.lot_key = r.lot_key
            and if(s.next_on > b.sampled_on, b.sampled_on, s.due_on) >= r.span_from
            and if(s.next_on > b.sampled_on, b.sampled_on, s.due_on) < r.span_to
    inner join rule_spans as n
        on
            s.site_id = n.site_id
            and s.lot_key = n.lot_key
            and if(s.next_on > b.sampled_on, b.sampled_on, s.due_on) + r.interval_days >= n.span_from
            and if(s.next_on > b.sampled_on, b.sampled_on, s.due_on) + r.interval_days < n.span_to
    where coalesce(s.next_on > b.sampled_on, false) or s.next_on <= s.last_on
)

select
    s.site_id,
    s.lot_key,
    s.step,
    s.why,
    s.is_problem_crop,
    s.caused_on,
    s.counted_from,
    s.interval_days,
    s.grace_days,
    s.due_on,
    s.next_on,
    case when s.next_on > b.sampled_on then b.sampled_on end as taken_on,
    s.known_on
from steps as s
left join bases as b on s.site_id = b.site_id and s.lot_key = b.lot_key and s.nth = b.nth
