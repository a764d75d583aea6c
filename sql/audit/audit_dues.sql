-- Every due of the period and what became of it.
-- grain: one due of one lot. key: site_id, lot_key, why, due_on, caused_on
-- inputs: audit_lots, routine_dues, cause_dues, audit_samplings, exemptions, audit_period
-- rules (house defaults but for the intervals): on time up to grace_days after the due where the interval is 14 days or more, else
-- on the day; late until the day before the lot's next routine due; missed where that came first, or where the lot ended; open
-- where neither came by the end of the period. A follow-up is answered by any counting routine sampling or retest after its
-- cause, after a treatment once its wait is over, after a pair around a feeding by another pair too; affected plants by a
-- comparison with healthy ones; a feeding by a pair.
-- `excused`: an excuse of the lot holds the day of the due, and it was not taken on time all the same. `not_knowable`: what it
-- hangs on (lot list, treatment, readings of a follow-up's cause, or the loss of a sampling that had counted) was received after
-- its day; not counted. is_history: before the site's first night, judged from the records as they stand.
-- part: routine or follow_up. days_late: of an answered due. days_open: of an open one, from the due to the end of the period.
with
counting as (
    select distinct
        site_id,
        lot_key,
        sampled_on
    from audit_samplings
    where is_counting and purpose in ('routine', 'retest')
),

causes as (
    select
        c.site_id,
        c.lot_key,
        c.why,
        c.caused_on,
        c.due_on,
        c.interval_days,
        c.grace_days,
        c.purposes,
        c.known_on,
        case
            when c.why in ('after_out', 'after_treatment')
                then (
                    select min(s.sampled_on)
                    from counting as s
                    where
                        s.site_id = c.site_id
                        and s.lot_key = c.lot_key
                        and s.sampled_on > c.caused_on
                        and s.sampled_on >= coalesce(c.not_before, c.caused_on)
                )
            else c.answered_on
        end as answered_on,
        (
            select min(r.due_on)
            from routine_dues as r
            where r.site_id = c.site_id and r.lot_key = c.lot_key and r.due_on > c.due_on
        ) as next_on
    from cause_dues as c
),

asked as (
    select
        'routine' as part,
        site_id,
        lot_key,
        why,
        caused_on,
        counted_from,
        due_on,
        next_on,
        interval_days,
        grace_days,
        'routine' as purposes,
        known_on,
        taken_on
    from routine_dues
    union all by name
    select
        'follow_up' as part,
        site_id,
        lot_key,
        why,
        caused_on,
        caused_on as counted_from,
        due_on,
        next_on,
        interval_days,
        grace_days,
        purposes,
        known_on,
        case when coalesce(answered_on < next_on, true) then answered_on end as taken_on
    from causes
),

held as (
    select
        k.*,
        a.lot_id,
        a.first_night,
        a.is_ended,
        a.last_on,
        p.to_on,
        if(k.interval_days >= 14, k.grace_days, 0) as grace,
        e.reason as excuse_reason,
        e.person as excused_by,
        e.from_on as excused_from,
        e.until_on as excused_until,
        e.entered_on,
        e.file_id as excuse_file_id,
        e.record_no as excuse_record_no,
        k.due_on < a.first_night as is_history,
        -- a sampling that stood on the day of the due and was taken away later
        (
            select min(s.lost_on)
            from audit_samplings as s
            where
                s.site_id = k.site_id
                and s.lot_key = k.lot_key
                and s.sampled_on > k.counted_from
                and s.sampled_on <= k.due_on + if(k.interval_days >= 14, k.grace_days, 0)
                and s.purpose in ('routine', 'retest')
                and s.lost_on > k.due_on
        ) as lost_on
    from asked as k
    inner join audit_lots as a on k.site_id = a.site_id and k.lot_key = a.lot_key
    cross join audit_period as p
    left join exemptions as e
        on
            k.site_id = e.site_id
            and k.lot_key = e.lot_key
            and k.due_on >= e.from_on
            and k.due_on <= e.until_on
            and p.as_of >= e.entered_on
            and (e.purpose is null or list_contains(string_split(k.purposes, ','), e.purpose))
    where k.due_on >= p.from_on and k.due_on <= a.last_on
    qualify
        row_number() over (
            partition by k.site_id, k.lot_key, k.why, k.due_on, k.caused_on
            order by
                e.entered_on > k.due_on asc,
                e.until_on desc,
                e.entered_on asc,
                e.file_id asc,
                e.record_no asc
        ) = 1
),

judged as (
    select
        *,
        not is_history
        and (coalesce(known_on > due_on, false) or (taken_on is null and coalesce(lost_on > due_on, false)))
            as is_not_knowable
    from held
)

select
    part,
    site_id,
    lot_key,
    lot_id,
    why,
    caused_on,
    due_on,
    next_on,
    interval_days,
    grace,
    purposes,
    case
        when is_not_knowable then 'not_knowable'
        when taken_on <= due_on + grace then 'on_time'
        when excused_until is not null then 'excused'
        when taken_on is not null then 'late'
        when is_ended or next_on <= last_on then 'missed'
        else 'open'
    end as state,
    taken_on,
    case when taken_on is not null then greatest(taken_on - due_on, 0) end::integer as days_late,
    case when taken_on is null and not is_ended and coalesce(next_on > last_on, true) then to_on - due_on end::integer
        as days_open,
    is_history,
    known_on,
    excuse_reason,
    excused_by,
    excused_from,
    excused_until,
    entered_on,
    coalesce(entered_on > due_on, false) as is_excused_late,
    excuse_file_id,
    excuse_record_no
from judged
