-- Follow-ups that something asked for: a mean or a pair around a feeding out of range, a treatment, affected plants, a feeding.
-- grain: one follow-up of one lot. key: site_id, lot_key, why, caused_on, due_on
-- inputs: audit_lots, audit_samplings, rule_spans, verdicts, treatment_waits, treatments, symptom_rounds, routine_dues, current_lots, policy_feed_pair_crops, feed_days, closed_days, feed_pairs, pair_outs, files, audit_period
-- rules as in judgement/asked_dues, looked back upon: a treatment of the same day or before the due takes the place of `after_out`
-- (of `after_pair_out`: one since the pair's first day),
-- a later treatment that of an earlier one, unless the lot had been read by then. not_before: end of a waiting time.
-- `feed_pair`: around the last feeding before a routine due that could be read so, as in judgement/feedings.
-- answered_on: only where other samplings answer than a counting routine one or a retest: both halves of a comparison, or a pair.
-- known_on: the day on which the last line was received that the cause rests on.
with
counting as (
    select distinct
        site_id,
        lot_key,
        sampled_on
    from audit_samplings
    where is_counting and purpose in ('routine', 'retest')
),

-- of two samplings of one day the retest is the last word
outs as (
    select
        c.site_id,
        c.lot_key,
        c.sampled_on,
        any_value(s.received_on) as known_on
    from counting as c
    inner join audit_samplings as s
        on c.site_id = s.site_id and c.lot_key = s.lot_key and c.sampled_on = s.sampled_on and s.is_counting
    inner join verdicts as v
        on
            s.site_id = v.site_id
            and s.lot_key = v.lot_key
            and s.sampled_on = v.sampled_on
            and s.purpose = v.purpose
    where
        v.verdict in ('out', 'clearly_out')
        and not v.is_low_ec_outside_active
        and s.purpose = (
            select min(o.purpose)
            from audit_samplings as o
            where
                o.site_id = s.site_id
                and o.lot_key = s.lot_key
                and o.sampled_on = s.sampled_on
                and o.is_counting
                and o.purpose in ('routine', 'retest')
        )
    group by c.site_id, c.lot_key, c.sampled_on
),

after_out as (
    select
        o.site_id,
        o.lot_key,
        'after_out' as why,
        o.sampled_on as caused_on,
        o.sampled_on + r.after_out_days as due_on,
        r.after_out_days as interval_days,
        r.grace_days,
        null::date as not_before,
        null::date as answered_on,
        'retest' as purposes,
        o.known_on
    from outs as o
    inner join rule_spans as r
        on
            o.site_id = r.site_id
            and o.lot_key = r.lot_key
            and o.sampled_on >= r.span_from
            and o.sampled_on < r.span_to
    where
        not exists (
            select 1
            from treatment_waits as w
            where
                w.site_id = o.site_id
                and w.lot_key = o.lot_key
                and w.treated_on >= o.sampled_on
                and w.treated_on <= o.sampled_on + r.after_out_days
                and not exists (
                    select 1
                    from counting as c
                    where
                        c.site_id = w.site_id
                        and c.lot_key = w.lot_key
                        and c.sampled_on > o.sampled_on
                        and c.sampled_on <= w.treated_on
                )
        )
),

-- a routine sampling or retest of its second day takes a pair's place
out_pairs as (
    select
        p.site_id,
        p.lot_key,
        p.before_on,
        p.after_on,
        max(s.received_on) as known_on
    from (
        select distinct
            site_id,
            lot_key,
            before_on,
            after_on
        from pair_outs
        where not is_low_ec_outside_active
    ) as p
    inner join audit_samplings as s
        on
            p.site_id = s.site_id
            and p.lot_key = s.lot_key
            and (
                (s.purpose = 'before_feed' and p.before_on = s.sampled_on)
                or (s.purpose = 'after_feed' and p.after_on = s.sampled_on)
            )
    where
        not exists (
            select 1
            from counting as c
            where c.site_id = p.site_id and c.lot_key = p.lot_key and c.sampled_on = p.after_on
        )
    group by p.site_id, p.lot_key, p.before_on, p.after_on
),

-- what answers a pair's retest: a routine sampling, a retest, or another pair
read_again as (
    select * from counting
    union
    select
        site_id,
        lot_key,
        sampled_on
    from audit_samplings
    where is_pair_end
),

after_pair_out as (
    select
        o.site_id,
        o.lot_key,
        'after_pair_out' as why,
        o.after_on as caused_on,
        o.after_on + r.after_out_days as due_on,
        r.after_out_days as interval_days,
        r.grace_days,
        null::date as not_before,
        min(g.sampled_on) as answered_on,
        'retest' as purposes,
        o.known_on
    from out_pairs as o
    inner join audit_lots as a on o.site_id = a.site_id and o.lot_key = a.lot_key and o.after_on <= a.last_on
    inner join rule_spans as r
        on
            o.site_id = r.site_id
            and o.lot_key = r.lot_key
            and o.after_on >= r.span_from
            and o.after_on < r.span_to
    left join read_again as g on o.site_id = g.site_id and o.lot_key = g.lot_key and o.after_on < g.sampled_on
    where
        not exists (
            select 1
            from treatment_waits as w
            where
                w.site_id = o.site_id
                and w.lot_key = o.lot_key
                and w.treated_on >= o.before_on
                and w.treated_on <= least(o.after_on + r.after_out_days, a.last_on)
                and not exists (
                    select 1
                    from read_again as c
                    where
                        c.site_id = w.site_id
                        and c.lot_key = w.lot_key
                        and c.sampled_on > o.after_on
                        and c.sampled_on <= w.treated_on
                )
        )
    group by all
),

treated as (
    select
        t.site_id,
        t.lot_key,
        t.treated_on,
        max(f.received_on) as known_on
    from treatments as t
    inner join files as f on t.file_id = f.file_id
    group by t.site_id, t.lot_key, t.treated_on
),

after_treatment as (
    select
        w.site_id,
        w.lot_key,
        'after_treatment' as why,
        w.treated_on as caused_on,
        w.retest_due_on as due_on,
        (w.retest_due_on - w.treated_on)::integer as interval_days,
        r.grace_days,
        w.retest_due_on as not_before,
        null::date as answered_on,
        'retest' as purposes,
        t.known_on
    from treatment_waits as w
    inner join audit_lots as a
        on w.site_id = a.site_id and w.lot_key = a.lot_key and w.treated_on <= a.last_on
    inner join treated as t
        on w.site_id = t.site_id and w.lot_key = t.lot_key and w.treated_on = t.treated_on
    inner join rule_spans as r
        on
            w.site_id = r.site_id
            and w.lot_key = r.lot_key
            and w.treated_on >= r.span_from
            and w.treated_on < r.span_to
    where
        not exists (
            select 1
            from treatment_waits as n
            where
                n.site_id = w.site_id
                and n.lot_key = w.lot_key
                and n.treated_on > w.treated_on
                and n.treated_on <= least(w.retest_due_on, a.last_on)
                and not exists (
                    select 1
                    from counting as c
                    where
                        c.site_id = w.site_id
                        and c.lot_key = w.lot_key
                        and c.sampled_on > w.treated_on
                        and c.sampled_on >= w.retest_due_on
                        and c.sampled_on <= n.treated_on
                )
        )
),

noted as (
    select
        y.site_id,
        y.lot_key,
        'symptoms' as why,
        y.noted_on as caused_on,
        y.noted_on + y.symptoms_within_days as due_on,
        y.symptoms_within_days as interval_days,
        r.grace_days,
        null::date as not_before,
        case when y.closed_by = 'compared' and y.closed_on <= a.last_on then y.closed_on end as answered_on,
        'affected,healthy' as purposes,
        s.received_on as known_on
    from symptom_rounds as y
    inner join audit_lots as a on y.site_id = a.site_id and y.lot_key = a.lot_key and y.noted_on <= a.last_on
    inner join audit_samplings as s
        on y.site_id = s.site_id and y.lot_key = s.lot_key and y.noted_on = s.sampled_on and s.purpose = 'affected'
    inner join rule_spans as r
        on
            y.site_id = r.site_id
            and y.lot_key = r.lot_key
            and y.noted_on >= r.span_from
            and y.noted_on < r.span_to
),

paired as (
    select
        d.site_id,
        d.lot_key,
        d.caused_on,
        d.due_on as routine_on,
        d.taken_on,
        d.interval_days,
        d.known_on,
        lower(trim(l.house)) as house_key,
        unnest(generate_series(d.caused_on + 2, d.due_on, interval 1 day))::date as day
    from routine_dues as d
    inner join current_lots as l on d.site_id = l.site_id and d.lot_key = l.lot_key
    left join policy_feed_pair_crops as x
        on
            l.site_id = x.site_id
            and l.crop_key = x.crop_key
            and d.caused_on >= x.valid_from
            and d.caused_on < x.valid_to
    where
        l.feed_mode = 'periodic'
        and (d.is_problem_crop or x.crop_key is not null)
        -- a due that rolled on asks for no second pair
        and d.caused_on = d.counted_from
),

-- a pair is held against each other across three days at most (feed_pairs)
days_before as (
    select
        site_id,
        day as fed_on,
        unnest(generate_series(day - 3, day - 1, interval 1 day))::date as before_on
    from (
        select distinct
            site_id,
            day
        from paired
    )
),

open_days_before as (
    select
        d.site_id,
        d.fed_on,
        max(d.before_on) as before_on
    from days_before as d
    where
        not exists (
            select 1
            from closed_days as c
            where c.site_id = d.site_id and (c.closed_on = d.before_on or c.weekday = isodow(d.before_on))
        )
    group by d.site_id, d.fed_on
),

fed as (
    select
        d.site_id,
        d.lot_key,
        d.caused_on,
        d.taken_on,
        d.interval_days,
        d.known_on,
        max(d.day) as fed_on
    from paired as d
    inner join feed_days as f
        on
            d.site_id = f.site_id
            and (f.house_key is null or d.house_key = f.house_key)
            and (f.lot_key is null or d.lot_key = f.lot_key)
            and (d.day = f.fed_on or isodow(d.day) = f.weekday)
    inner join open_days_before as b on d.site_id = b.site_id and d.day = b.fed_on and d.caused_on < b.before_on
    where
        not exists (
            select 1
            from closed_days as c
            where c.site_id = d.site_id and (c.closed_on = d.day or c.weekday = isodow(d.day))
        )
    group by all
),

fed_pairs as (
    select
        f.site_id,
        f.lot_key,
        'feed_pair' as why,
        f.caused_on,
        f.fed_on as due_on,
        f.interval_days,
        0 as grace_days,
        null::date as not_before,
        min(p.after_on) as answered_on,
        'before_feed,after_feed' as purposes,
        f.known_on
    from fed as f
    inner join audit_lots as a on f.site_id = a.site_id and f.lot_key = a.lot_key
    left join feed_pairs as p
        on
            f.site_id = p.site_id
            and f.lot_key = p.lot_key
            and f.caused_on < p.after_on
            and a.last_on >= p.after_on
    -- a sampling before the day of feeding began the schedule anew
    where f.taken_on is null or f.taken_on >= f.fed_on
    group by all
)

select * from after_out
union all
select * from after_pair_out
union all
select * from after_treatment
union all
select * from noted
union all
select * from fed_pairs
