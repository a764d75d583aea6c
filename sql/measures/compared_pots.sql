-- Pots of two samplings of a lot that are held against each other.
-- grain: one quantity of one pot in one comparison. key: site_id, lot_key, comparison, quantity, grp, file_id, record_no
-- inputs: standing_lots, samplings, usable_readings, last_treatments
-- comparison `affected`: the last affected sampling against healthy plants of the same days, else the routine sampling of
-- them (published: take affected and healthy separately). `feed`: the day before against the day of feeding (common practice).
-- `treatment`: before the lot's last treatment against the first one after its waiting time, for four weeks (house default).
with
affected as (
    select
        l.site_id,
        l.lot_key,
        'affected' as comparison,
        s.sampled_on as first_on,
        'affected' as first_purpose,
        o.sampled_on as second_on,
        o.purpose as second_purpose,
        row_number() over (
            partition by l.site_id, l.lot_key
            order by
                s.sampled_on desc,
                case o.purpose when 'healthy' then 0 else 1 end asc,
                abs(s.sampled_on - o.sampled_on) asc,
                o.sampled_on desc,
                o.purpose asc
        ) as nth
    from standing_lots as l
    inner join samplings as s
        on
            l.site_id = s.site_id
            and l.lot_key = s.lot_key
            and s.purpose = 'affected'
            and s.sampled_on >= l.as_of - l.affected_within_days
    inner join samplings as o
        on
            l.site_id = o.site_id
            and l.lot_key = o.lot_key
            and o.purpose in ('healthy', 'routine', 'retest')
            and abs(s.sampled_on - o.sampled_on) <= 3
),

feed as (
    select
        l.site_id,
        l.lot_key,
        'feed' as comparison,
        s.sampled_on as first_on,
        'before_feed' as first_purpose,
        o.sampled_on as second_on,
        'after_feed' as second_purpose,
        row_number() over (
            partition by l.site_id, l.lot_key
            order by o.sampled_on desc, s.sampled_on desc
        ) as nth
    from standing_lots as l
    inner join samplings as s
        on l.site_id = s.site_id and l.lot_key = s.lot_key and s.purpose = 'before_feed'
    inner join samplings as o
        on
            l.site_id = o.site_id
            and l.lot_key = o.lot_key
            and o.purpose = 'after_feed'
            and o.sampled_on between s.sampled_on and s.sampled_on + 3
    where o.sampled_on >= l.as_of - 28
),

treatment as (
    select
        t.site_id,
        t.lot_key,
        'treatment' as comparison,
        t.before_on as first_on,
        t.before_purpose as first_purpose,
        t.after_on as second_on,
        t.after_purpose as second_purpose
    from last_treatments as t
    inner join standing_lots as l on t.site_id = l.site_id and t.lot_key = l.lot_key
    where t.before_on is not null and t.after_on >= l.as_of - 28
),

pairs as (
    select * exclude (nth) from affected
    where nth = 1
    union all
    select * exclude (nth) from feed
    where nth = 1
    union all
    select * from treatment
),

placed as (
    select
        p.site_id,
        p.lot_key,
        p.comparison,
        p.first_on,
        p.second_on,
        p.second_purpose,
        u.file_id,
        u.record_no,
        if(u.sampled_on = p.first_on and u.purpose = p.first_purpose, 'first', 'second') as grp,
        unnest(['ph', 'ec']) as quantity,
        unnest([u.is_usable_ph, u.is_usable_ec]) as is_usable,
        unnest([u.ph::double, u.ec_25_ms_cm::double]) as value
    from pairs as p
    inner join usable_readings as u
        on
            p.site_id = u.site_id
            and p.lot_key = u.lot_key
            and u.n_pots = 1
            and (
                (p.first_on = u.sampled_on and p.first_purpose = u.purpose)
                or (p.second_on = u.sampled_on and p.second_purpose = u.purpose)
            )
)

select * exclude (is_usable)
from placed
where is_usable
order by all
