-- Which dues samplings answer: those that the lines of their sheets name.
-- grain: one sampling and one due that its lines name. key: site_id, lot_key, sampled_on, purpose, due_why, due_on
-- inputs: usable_readings, samplings, feed_pairs, reading_lines, files
-- rule (ours): the due stands on the line, so nothing is matched by dates; pots that somebody added without it belong to the
-- sampling all the same. A pot that was kept apart from its sampling answers nothing.
-- pots: those of the sampling that name the due; days_late: days from the due to the sampling, 0 where it was in time, of a pair's
-- second half those of its first, whose day the lines of both name;
-- first_file_id, first_received_on: the first file with this sampling and due in any version, and when it came
with
named as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        due_why,
        due_on,
        sum(n_pots)::integer as pots
    from usable_readings
    where due_why is not null and due_on is not null and purpose = recorded_purpose
    group by site_id, lot_key, sampled_on, purpose, due_why, due_on
),

firsts as (
    select
        f.site_id,
        lower(r.lot_code) as lot_key,
        r.sampled_on,
        r.purpose,
        r.due_why,
        r.due_on,
        min(f.file_id) as file_id,
        arg_min(f.received_on, f.file_id) as received_on
    from reading_lines as r
    inner join files as f on r.file_id = f.file_id
    where r.due_why is not null and r.due_on is not null
    group by f.site_id, lower(r.lot_code), r.sampled_on, r.purpose, r.due_why, r.due_on
)

select
    n.site_id,
    n.lot_key,
    s.lot_id,
    n.sampled_on,
    n.purpose,
    n.due_why,
    n.due_on,
    n.pots,
    s.is_counting,
    greatest(coalesce(p.before_on, n.sampled_on) - n.due_on, 0)::integer as days_late,
    f.file_id as first_file_id,
    f.received_on as first_received_on
from named as n
inner join samplings as s
    on n.site_id = s.site_id and n.lot_key = s.lot_key and n.sampled_on = s.sampled_on and n.purpose = s.purpose
left join feed_pairs as p
    on
        n.site_id = p.site_id
        and n.lot_key = p.lot_key
        and n.sampled_on = p.after_on
        and n.purpose = 'after_feed'
        and n.due_why = 'feed_pair'
left join firsts as f
    on
        n.site_id = f.site_id
        and n.lot_key = f.lot_key
        and n.sampled_on = f.sampled_on
        and n.purpose = f.purpose
        and n.due_why = f.due_why
        and n.due_on = f.due_on
