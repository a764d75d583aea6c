-- The last treatment of each standing lot, when to read again, and the samplings before and after it.
-- grain: one standing lot that was treated. key: site_id, lot_key
-- inputs: standing_lots, treatment_waits, samplings
-- rules: the sampling before: the last counting one, of that day at the latest (a lot is read, then treated), at most 21 days
-- back (house default). The one after: the first counting one once the waiting time is over.
with
last_days as (
    select w.*
    from treatment_waits as w
    inner join standing_lots as l on w.site_id = l.site_id and w.lot_key = l.lot_key
    qualify row_number() over (partition by w.site_id, w.lot_key order by w.treated_on desc) = 1
),

counting as (
    select
        site_id,
        lot_key,
        sampled_on,
        -- a retest on the day of a routine sampling is the later word
        min(purpose) as purpose
    from samplings
    where is_counting and purpose in ('routine', 'retest')
    group by site_id, lot_key, sampled_on
),

around as (
    select
        d.site_id,
        d.lot_key,
        max(c.sampled_on) filter (
            where c.sampled_on <= d.treated_on and c.sampled_on >= d.treated_on - d.before_treatment_days
        ) as before_on,
        min(c.sampled_on) filter (
            where c.sampled_on > d.treated_on and c.sampled_on >= d.retest_due_on
        ) as after_on
    from last_days as d
    left join counting as c on d.site_id = c.site_id and d.lot_key = c.lot_key
    group by d.site_id, d.lot_key
)

select
    d.site_id,
    d.lot_key,
    d.treated_on,
    d.treatments,
    d.retest_due_on,
    a.before_on,
    b.purpose as before_purpose,
    a.after_on,
    f.purpose as after_purpose
from last_days as d
inner join around as a on d.site_id = a.site_id and d.lot_key = a.lot_key
left join counting as b on d.site_id = b.site_id and d.lot_key = b.lot_key and a.before_on = b.sampled_on
left join counting as f on d.site_id = f.site_id and d.lot_key = f.lot_key and a.after_on = f.sampled_on
