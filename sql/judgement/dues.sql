-- Samplings that ought to happen: every one that a rule asks for, excused ones too.
-- grain: one rule's due of one standing lot. key: site_id, lot_key, why, due_on
-- inputs: asked_dues, closed_days, exemptions, feedings, run
-- rule_on: the day by the rule. due_on: where the site does not sample that day, the last day before it on which it does, so
-- never later; it stays after caused_on (for a due that rolled on: after the one before it) and is not before not_before, the end
-- of a treatment's waiting time; where no such day is open, it stays rule_on.
-- An excuse of the lot whose days hold due_on (of a pair the day of its first half) excuses it (purpose null: every due; `routine`:
-- first, routine and problem crops; another purpose: the dues that ask for it). An excused routine due rolls on by its interval, counted from its own rule_on,
-- until one is not excused, and that one rules; a follow-up is asked for once and does not roll. Listed are the excused ones up to
-- the as-of day, the first excused one after it, and the first that is not. An excuse reaches ten years beyond the as-of day at
-- most. Of several excuses one entered in time stands, then the longest. An excuse counts from the day of its entry.
-- next_before_on, next_fed_on: of a pair whose first half was not taken on its day the two days of the next feeding around which it
-- can still be read; the due keeps its day and is overdue. Null for every other due, and where no feeding is
-- known for the next four weeks.
-- nth: rank by due_on among those that are not excused; of two on one day follow-ups come first.
with
excuses as (
    select
        e.* exclude (until_on),
        e.until_on,
        least(e.until_on, t.as_of + 3653) as holds_until
    from exemptions as e
    cross join run as t
    where e.entered_on <= t.as_of
),

last_days as (
    select
        site_id,
        lot_key,
        max(holds_until) as holds_until
    from excuses
    group by site_id, lot_key
),

steps as (
    select
        a.*,
        -- the due after the last excused one falls after the excuse, also where closed days move it
        unnest(range(
            case
                when a.roll_days is null or x.holds_until is null or x.holds_until <= a.caused_on then 1
                else greatest(2, (x.holds_until - a.rule_on) // a.roll_days + 3)
            end
        ))::integer as step
    from asked_dues as a
    left join last_days as x on a.site_id = x.site_id and a.lot_key = x.lot_key
),

ruled as (
    select
        * exclude (rule_on, roll_days),
        rule_on + coalesce(step * roll_days, 0) as rule_on,
        if(step = 0, caused_on, rule_on + (step - 1) * roll_days) as after_on
    from steps
),

tried as (
    select
        r.site_id,
        r.lot_key,
        r.why,
        r.step,
        unnest(generate_series(r.after_on + 1, r.rule_on, interval 1 day))::date as day
    from ruled as r
    where
        exists (
            select 1
            from closed_days as c
            where c.site_id = r.site_id and (c.closed_on = r.rule_on or c.weekday = isodow(r.rule_on))
        )
        -- a day before the end of a waiting time is none to move to
        and (r.not_before is null or r.not_before < r.rule_on)
),

moved as (
    select
        d.site_id,
        d.lot_key,
        d.why,
        d.step,
        max(d.day) as due_on
    from tried as d
    where
        not exists (
            select 1
            from closed_days as c
            where c.site_id = d.site_id and (c.closed_on = d.day or c.weekday = isodow(d.day))
        )
    group by d.site_id, d.lot_key, d.why, d.step
),

dated as (
    select
        r.*,
        coalesce(m.due_on, r.rule_on) as due_on
    from ruled as r
    left join moved as m
        on r.site_id = m.site_id and r.lot_key = m.lot_key and r.why = m.why and r.step = m.step
),

excused as (
    select
        d.*,
        e.until_on as excused_until,
        e.reason as excuse_reason,
        e.person as excused_by,
        e.entered_on,
        row_number() over (
            partition by d.site_id, d.lot_key, d.why, d.step
            order by
                e.entered_on > d.due_on asc,
                e.until_on desc,
                e.entered_on asc,
                e.file_id asc,
                e.record_no asc
        ) as nth_excuse
    from dated as d
    left join excuses as e
        on
            d.site_id = e.site_id
            and d.lot_key = e.lot_key
            and d.due_on >= e.from_on
            and d.due_on <= e.holds_until
            and (e.purpose is null or list_contains(string_split(d.purposes, ','), e.purpose))
),

next_feedings as (
    select
        f.site_id,
        f.lot_key,
        min(f.fed_on) as next_fed_on,
        min_by(f.before_on, f.fed_on) as next_before_on
    from feedings as f
    cross join run as t
    where f.before_on between t.as_of and t.as_of + 27
    group by f.site_id, f.lot_key
),

told as (
    select
        *,
        excused_until is not null as is_excused,
        min(step) filter (where excused_until is null) over of_rule as ruling_step,
        min(step) filter (where excused_until is not null and due_on > t.as_of) over of_rule as next_excused_step
    from excused
    cross join run as t
    where nth_excuse = 1
    window of_rule as (partition by site_id, lot_key, why)
)

select
    t.site_id,
    t.lot_key,
    t.why,
    t.rule_on,
    t.due_on,
    t.not_before,
    if(t.purposes = 'before_feed,after_feed' and t.due_on < t.as_of, f.next_before_on, null) as next_before_on,
    if(t.purposes = 'before_feed,after_feed' and t.due_on < t.as_of, f.next_fed_on, null) as next_fed_on,
    t.caused_on,
    t.interval_days,
    t.purposes,
    t.pots,
    t.is_excused,
    t.excused_until,
    t.excuse_reason,
    t.excused_by,
    coalesce(t.entered_on > t.due_on, false) as is_excused_late,
    case
        when not t.is_excused
            then row_number() over (
                partition by t.site_id, t.lot_key, t.is_excused
                order by
                    t.due_on,
                    case t.why
                        when 'after_out' then 1
                        when 'after_pair_out' then 2
                        when 'after_treatment' then 3
                        when 'symptoms' then 4
                        when 'feed_pair' then 5
                        else 6
                    end
            )
    end::integer as nth
from told as t
left join next_feedings as f on t.site_id = f.site_id and t.lot_key = f.lot_key
where
    if(
        t.is_excused,
        (t.ruling_step is null or t.step < t.ruling_step) and (t.due_on <= t.as_of or t.step = t.next_excused_step),
        t.step = t.ruling_step
    )
