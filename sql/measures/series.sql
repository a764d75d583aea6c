-- Means that trends and drift charts look at, with a number that rises where they start anew.
-- grain: one quantity of one counting routine or retest sampling. key: site_id, lot_key, quantity, sampled_on, purpose
-- inputs: verdicts, treatments, lot_facts
-- rule (house default): a change of stage, a treatment, another feed mode and another substrate start trend and baseline anew.
-- A lot is read, then treated: what was read on the day of a treatment belongs before it. A change holds from its day on; what
-- was not written down before is no change.
with
known as (
    select
        site_id,
        lot_key,
        valid_from,
        feed_mode,
        lower(trim(substrate)) as substrate,
        lag(feed_mode ignore nulls) over of_lot as feed_mode_before,
        lag(lower(trim(substrate)) ignore nulls) over of_lot as substrate_before
    from lot_facts
    where is_usable
    window of_lot as (partition by site_id, lot_key order by valid_from)
),

changes as (
    select
        site_id,
        lot_key,
        treated_on + 1 as from_on
    from treatments
    union
    select
        site_id,
        lot_key,
        valid_from as from_on
    from known
    where feed_mode <> feed_mode_before or substrate <> substrate_before
),

judged as (
    select
        site_id,
        lot_key,
        quantity,
        sampled_on,
        purpose,
        mean,
        case stage when 'establishing' then 0 when 'active' then 1 else 2 end as stage_no
    from verdicts
    where
        is_counting
        and purpose in ('routine', 'retest')
        and mean is not null
        and (quantity = 'ph' or is_ec_countable)
)

select
    j.site_id,
    j.lot_key,
    j.quantity,
    j.sampled_on,
    j.mean,
    j.stage_no + count(c.from_on) as segment
from judged as j
left join changes as c on j.site_id = c.site_id and j.lot_key = c.lot_key and j.sampled_on >= c.from_on
group by j.site_id, j.lot_key, j.quantity, j.sampled_on, j.purpose, j.mean, j.stage_no
order by j.site_id, j.lot_key, j.quantity, j.sampled_on, j.purpose
