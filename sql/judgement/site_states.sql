-- Each site as it stands on the as-of date: freshness, lines by fate, quality of its samplings.
-- grain: one site. key: site_id
-- inputs: sites, files, record_fates, samplings, usable_readings, current_lots, policy, run
-- rule: silent when nothing new arrived for three nights (house default).
with
receipts as (
    select site_id, min(received_on) as first_received_on, max(received_on) as last_received_on, sum(lines) as lines
    from files
    group by site_id
),

fates as (
    select
        site_id,
        count(*) as records,
        count(*) filter (where fate = 'accepted') as accepted,
        count(*) filter (where fate = 'held') as held,
        count(*) filter (where fate = 'repeated') as repeated,
        count(*) filter (where fate = 'superseded') as superseded,
        count(*) filter (where fate = 'withdrawn') as withdrawn,
        count(*) filter (where fate = 'not_data') as not_data
    from record_fates
    group by site_id
),

quality as (
    select
        s.site_id,
        count(*) as samplings,
        count(*) filter (where s.is_counting) as counting,
        count(*) filter (where s.proper = 'yes') as proper,
        count(*) filter (where s.proper = 'not_shown') as not_shown
    from samplings as s
    cross join run as t
    inner join policy as p on s.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
    where s.purpose in ('routine', 'retest') and s.sampled_on > t.as_of - p.quality_days and s.sampled_on <= t.as_of
    group by s.site_id
),

last_readings as (
    select site_id, max(sampled_on) as last_reading_on
    from usable_readings
    group by site_id
),

ended as (
    select l.site_id, count(*) as lots_ended
    from current_lots as l
    cross join run as t
    where l.is_usable and l.ends_on < t.as_of
    group by l.site_id
)

select
    s.site_id,
    r.first_received_on,
    r.last_received_on,
    (t.as_of - r.last_received_on)::integer as nights_silent,
    coalesce(t.as_of - r.last_received_on >= p.silent_after_nights, true) as is_silent,
    d.last_reading_on,
    coalesce(r.lines, 0)::bigint as lines,
    coalesce(f.records, 0)::bigint as records,
    coalesce(f.accepted, 0)::bigint as accepted,
    coalesce(f.held, 0)::bigint as held,
    coalesce(f.repeated, 0)::bigint as repeated,
    coalesce(f.superseded, 0)::bigint as superseded,
    coalesce(f.withdrawn, 0)::bigint as withdrawn,
    coalesce(f.not_data, 0)::bigint as not_data,
    coalesce(q.samplings, 0)::integer as samplings,
    coalesce(q.counting, 0)::integer as counting,
    coalesce(q.proper, 0)::integer as proper,
    coalesce(q.not_shown, 0)::integer as not_shown,
    coalesce(e.lots_ended, 0)::integer as lots_ended
from sites as s
cross join run as t
inner join policy as p on s.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
left join receipts as r on s.site_id = r.site_id
left join fates as f on s.site_id = f.site_id
left join quality as q on s.site_id = q.site_id
left join last_readings as d on s.site_id = d.site_id
left join ended as e on s.site_id = e.site_id
