-- What the rules ask for, before closed days and excuses are looked at.
-- grain: one rule's due of one standing lot. key: site_id, lot_key, why
-- inputs: standing_lots, last_verdicts, pair_outs, treatment_waits, last_treatments, symptom_rounds, feedings, closed_days, samplings
-- roll_days: days by which an excused due rolls on; null for a follow-up, which is asked for once.
-- rules:
-- `first` within 7 days of the start (common practice: soon; 7 days house default); once missed or excused it rolls on by the
-- routine interval. `routine` about every two weeks (common practice), plugs every 3 days (published: two to three times a week,
-- NC State HIL 590), or by container as published there and by UMass Extension. `problem_crop`: 7 days (house default).
-- `after_out`: 7 days after a last counting sampling that was out (house default), unless the lot was treated on that day or
-- since: then the retest after the treatment takes its place. Low EC outside the active stage asks for nothing.
-- `after_pair_out`: the same after a pair around a feeding that was out (house default), from its second day, where no counting
-- routine sampling or retest came since; one of that day takes its place. A later complete pair answers it too: it reads at
-- the same moments of a feeding. A treatment since the pair's first day takes its place.
-- `after_treatment`: once the waiting time of the last treatment is over, never before (treatment_waits); stands until a counting
-- routine sampling or retest on that day or later.
-- `symptoms`: affected and healthy plants, five of each (common practice), within 3 days of the first note (house default), until
-- both were held against each other (symptom_rounds).
-- `feed_pair`: periodically fed lots on the problem list, or of a crop asked for, are read the day before and the day of
-- feeding (common practice), around the last feeding before the routine sampling is due that can be read so (feedings); without
-- one there is none. Once the first half was taken in time only the second is asked for, until its day has passed: then the
-- pair is asked for whole.
with
routine as (
    select
        site_id,
        lot_key,
        case
            when last_due_base_on is null then 'first'
            when is_problem_crop then 'problem_crop'
            else 'routine'
        end as why,
        coalesce(last_due_base_on, stands_from) as caused_on,
        if(last_due_base_on is null, first_within_days, interval_days) as interval_days,
        coalesce(last_due_base_on + interval_days, stands_from + first_within_days) as rule_on,
        interval_days as roll_days,
        asked_pots as pots
    from standing_lots
),

fed as (
    select
        r.site_id,
        r.lot_key,
        max(f.fed_on) as fed_on
    from routine as r
    inner join feedings as f on r.site_id = f.site_id and r.lot_key = f.lot_key
    where f.fed_on between r.caused_on + 2 and r.rule_on and f.before_on > r.caused_on
    group by r.site_id, r.lot_key
),

halves as (
    select distinct
        f.site_id,
        f.lot_key,
        f.fed_on,
        s.sampled_on
    from fed as f
    inner join standing_lots as l on f.site_id = l.site_id and f.lot_key = l.lot_key and f.fed_on >= l.as_of
    inner join routine as r on f.site_id = r.site_id and f.lot_key = r.lot_key
    inner join samplings as s
        on
            f.site_id = s.site_id
            and f.lot_key = s.lot_key
            and r.caused_on < s.sampled_on
            and f.fed_on >= s.sampled_on
            and f.fed_on - 3 <= s.sampled_on
    where s.purpose = 'before_feed' and s.is_counting
),

between_them as (
    select
        *,
        unnest(generate_series(sampled_on + 1, fed_on - 1, interval 1 day))::date as day
    from halves
),

begun as (
    select distinct
        h.site_id,
        h.lot_key
    from halves as h
    where
        not exists (
            select 1
            from between_them as d
            where
                d.site_id = h.site_id
                and d.lot_key = h.lot_key
                and d.sampled_on = h.sampled_on
                and not exists (
                    select 1
                    from closed_days as c
                    where c.site_id = d.site_id and (c.closed_on = d.day or c.weekday = isodow(d.day))
                )
        )
),

open_rounds as (
    select
        site_id,
        lot_key,
        noted_on,
        symptoms_within_days,
        pots_each
    from symptom_rounds
    where closed_on is null
),

out_pairs as (
    select distinct
        site_id,
        lot_key,
        before_on,
        after_on
    from pair_outs
    where not is_low_ec_outside_active
)

select
    site_id,
    lot_key,
    why,
    rule_on,
    null::date as not_before,
    caused_on,
    interval_days,
    roll_days,
    'routine' as purposes,
    pots
from routine
union all
select
    l.site_id,
    l.lot_key,
    'after_out' as why,
    l.last_counting_on + l.after_out_interval_days as rule_on,
    null as not_before,
    l.last_counting_on as caused_on,
    l.after_out_interval_days as interval_days,
    null as roll_days,
    'retest' as purposes,
    l.asked_pots as pots
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
    and not exists (
        select 1
        from treatment_waits as w
        where w.site_id = l.site_id and w.lot_key = l.lot_key and w.treated_on >= l.last_counting_on
    )
union all
select
    l.site_id,
    l.lot_key,
    'after_pair_out' as why,
    o.after_on + l.after_out_interval_days as rule_on,
    null as not_before,
    o.after_on as caused_on,
    l.after_out_interval_days as interval_days,
    null as roll_days,
    'retest' as purposes,
    l.asked_pots as pots
from standing_lots as l
inner join out_pairs as o on l.site_id = o.site_id and l.lot_key = o.lot_key and l.last_due_base_on = o.after_on
where
    (l.last_counting_on is null or l.last_counting_on < o.after_on)
    and not exists (
        select 1
        from treatment_waits as w
        where w.site_id = l.site_id and w.lot_key = l.lot_key and w.treated_on >= o.before_on
    )
union all
select
    l.site_id,
    l.lot_key,
    'after_treatment' as why,
    t.retest_due_on as rule_on,
    t.retest_due_on as not_before,
    t.treated_on as caused_on,
    (t.retest_due_on - t.treated_on)::integer as interval_days,
    null as roll_days,
    'retest' as purposes,
    l.asked_pots as pots
from standing_lots as l
inner join last_treatments as t on l.site_id = t.site_id and l.lot_key = t.lot_key
where t.after_on is null
union all
select
    l.site_id,
    l.lot_key,
    'symptoms' as why,
    r.noted_on + r.symptoms_within_days as rule_on,
    null as not_before,
    r.noted_on as caused_on,
    r.symptoms_within_days as interval_days,
    null as roll_days,
    'affected,healthy' as purposes,
    2 * if(l.plants is null, r.pots_each, least(r.pots_each, greatest(l.plants, 1))) as pots
from standing_lots as l
inner join open_rounds as r on l.site_id = r.site_id and l.lot_key = r.lot_key
union all
select
    r.site_id,
    r.lot_key,
    'feed_pair' as why,
    if(b.lot_key is null, f.fed_on - 1, f.fed_on) as rule_on,
    null as not_before,
    r.caused_on,
    r.roll_days as interval_days,
    null as roll_days,
    if(b.lot_key is null, 'before_feed,after_feed', 'after_feed') as purposes,
    if(b.lot_key is null, 2 * r.pots, r.pots) as pots
from routine as r
inner join fed as f on r.site_id = f.site_id and r.lot_key = f.lot_key
left join begun as b on f.site_id = b.site_id and f.lot_key = b.lot_key
