-- What the policy asked of a lot, over spans of days on which it asked the same.
-- grain: one lot in one span of days. key: site_id, lot_key, span_from. span_to is exclusive
-- inputs: audit_lots, lot_facts, policy, policy_containers, policy_problem_crops, lot_lines, files
-- rule: the policy in force on a day judges that day; the container class is the one of that day.
-- grace_days: for intervals of 14 days and more (house default), see audit_dues. known_on: the day on which a lot list that says
-- the same of start, container class and crop was first received.
with
spans as (
    select
        a.site_id,
        a.lot_key,
        a.started_on,
        f.split_on,
        f.crop_key,
        f.container_class,
        greatest(f.valid_from, p.valid_from, c.valid_from) as span_from,
        least(f.valid_to, p.valid_to, c.valid_to) as span_to,
        x.crop_key is not null as is_problem_crop,
        case
            when x.crop_key is not null then least(c.routine_interval_days, p.problem_interval_days)
            else c.routine_interval_days
        end as interval_days,
        p.first_within_days,
        p.after_out_interval_days as after_out_days,
        p.grace_days
    from audit_lots as a
    inner join lot_facts as f on a.site_id = f.site_id and a.lot_key = f.lot_key
    inner join policy as p on a.site_id = p.site_id and f.valid_from < p.valid_to and f.valid_to > p.valid_from
    inner join policy_containers as c
        on
            a.site_id = c.site_id
            and f.container_class = c.container_class
            and c.valid_from < least(f.valid_to, p.valid_to)
            and c.valid_to > greatest(f.valid_from, p.valid_from)
    left join policy_problem_crops as x
        on a.site_id = x.site_id and f.crop_key = x.crop_key and p.valid_from = x.valid_from
),

listed as (
    select
        f.site_id,
        lower(n.lot_code) as lot_key,
        n.started_on,
        n.container_class,
        lower(trim(n.crop)) as crop_key,
        n.valid_from,
        min(f.received_on) as received_on
    from lot_lines as n
    inner join files as f on n.file_id = f.file_id
    group by all
)

select
    s.site_id,
    s.lot_key,
    s.span_from,
    s.span_to,
    if(s.is_problem_crop, 'problem_crop', 'routine') as why,
    s.interval_days,
    s.first_within_days,
    s.after_out_days,
    s.grace_days,
    min(n.received_on) as known_on
from spans as s
left join listed as n
    on
        s.site_id = n.site_id
        and s.lot_key = n.lot_key
        and s.started_on = n.started_on
        and s.container_class = n.container_class
        and s.crop_key = n.crop_key
        and (s.split_on is null or s.split_on = n.valid_from)
where s.span_from < s.span_to
group by all
