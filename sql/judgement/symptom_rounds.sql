-- Affected plants noted, and when they were held against healthy ones.
-- grain: one round of one lot, from the first note to the answer. key: site_id, lot_key, noted_on
-- inputs: samplings, policy, run
-- noted_on: the first day with an affected plant since the round before was closed. closed_on: null while it is open.
-- closed_by `compared`: on or after noted_on both an affected sampling that counts with enough pots, and healthy plants beside
-- it: a counting sampling of healthy ones at most three days apart with as many pots, or a counting routine sampling or retest
-- of the same day (published: sample affected and healthy plants separately; what affected plants are held against is chosen
-- alike in sql/measures/compared_pots.sql). `looked_again`: a counting routine sampling or retest later than the days
-- for which a note is spoken of (house default), with no affected plant noted since: days that pass alone close nothing.
-- The policy of the day of the first note holds for its round.
with recursive
notes as (
    select
        s.site_id,
        s.lot_key,
        s.sampled_on as noted_on,
        p.affected_within_days,
        p.symptoms_within_days,
        -- pots that cannot count are no comparison
        greatest(p.affected_pots, s.min_pots) as pots_each
    from samplings as s
    cross join run as t
    inner join policy as p on s.site_id = p.site_id and s.sampled_on >= p.valid_from and s.sampled_on < p.valid_to
    where s.purpose = 'affected' and s.sampled_on <= t.as_of
),

compared as (
    select
        a.site_id,
        a.lot_key,
        least(a.sampled_on, o.sampled_on) as from_on,
        greatest(a.sampled_on, o.sampled_on) as compared_on,
        if(o.purpose = 'healthy', least(a.n_ph, o.n_ph), a.n_ph) as pots
    from samplings as a
    inner join samplings as o
        on
            a.site_id = o.site_id
            and a.lot_key = o.lot_key
            and o.is_counting
            and (
                (o.purpose = 'healthy' and abs(a.sampled_on - o.sampled_on) <= 3)
                or (o.purpose in ('routine', 'retest') and a.sampled_on = o.sampled_on)
            )
    cross join run as t
    where a.purpose = 'affected' and a.is_counting and a.sampled_on <= t.as_of and o.sampled_on <= t.as_of
),

looks as (
    select
        s.site_id,
        s.lot_key,
        s.sampled_on as looked_on,
        max(n.noted_on) as last_noted_on
    from samplings as s
    cross join run as t
    inner join notes as n on s.site_id = n.site_id and s.lot_key = n.lot_key and s.sampled_on >= n.noted_on
    where s.purpose in ('routine', 'retest') and s.is_counting and s.sampled_on <= t.as_of
    group by s.site_id, s.lot_key, s.sampled_on
),

-- when a round that began with this note is closed
closings as (
    select
        n.site_id,
        n.lot_key,
        n.noted_on,
        n.symptoms_within_days,
        n.pots_each,
        n.compared_on,
        min(k.looked_on) as looked_on
    from (
        select
            n.*,
            min(c.compared_on) as compared_on
        from notes as n
        left join compared as c
            on n.site_id = c.site_id and n.lot_key = c.lot_key and n.noted_on <= c.from_on and n.pots_each <= c.pots
        group by all
    ) as n
    left join looks as k
        on
            n.site_id = k.site_id
            and n.lot_key = k.lot_key
            and n.noted_on <= k.looked_on
            and k.looked_on > k.last_noted_on + n.affected_within_days
    group by all
),

rounds as (
    select
        site_id,
        lot_key,
        min(noted_on) as noted_on
    from notes
    group by site_id, lot_key
    union all
    select
        n.site_id,
        n.lot_key,
        min(n.noted_on) as noted_on
    from rounds as r
    inner join closings as c on r.site_id = c.site_id and r.lot_key = c.lot_key and r.noted_on = c.noted_on
    inner join notes as n
        on r.site_id = n.site_id and r.lot_key = n.lot_key and n.noted_on > least(c.compared_on, c.looked_on)
    group by n.site_id, n.lot_key
)

select
    r.site_id,
    r.lot_key,
    r.noted_on,
    c.symptoms_within_days,
    c.pots_each::integer as pots_each,
    least(c.compared_on, c.looked_on) as closed_on,
    case
        when c.compared_on <= coalesce(c.looked_on, c.compared_on) then 'compared'
        when c.looked_on is not null then 'looked_again'
    end as closed_by
from rounds as r
inner join closings as c on r.site_id = c.site_id and r.lot_key = c.lot_key and r.noted_on = c.noted_on
