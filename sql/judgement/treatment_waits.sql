-- Days on which a lot was treated, and from when on it can be read again.
-- grain: one day of treatments of one lot. key: site_id, lot_key, treated_on
-- inputs: treatments, policy, run
-- rules: several treatments of one day are one, and the longest waiting time holds. Waiting times: 7 days after a change of feed
-- (published: New England Greenhouse Update), 10 after a lime drench (published: Univ. of Maryland Extension, 10 to 14),
-- others are house defaults.
with
waits as (
    select
        t.site_id,
        t.lot_key,
        t.treated_on,
        t.treatment,
        case
            when t.treatment = 'leaching' then p.wait_leaching_days
            when t.treatment = 'bicarbonate' then p.wait_bicarbonate_days
            when t.treatment in ('feed_change', 'acid_feed', 'basic_feed') then p.wait_feed_change_days
            when t.treatment = 'lime_drench' then p.wait_lime_drench_days
            else p.wait_other_days
        end as wait_days,
        p.before_treatment_days
    from treatments as t
    cross join run as n
    inner join policy as p on t.site_id = p.site_id and t.treated_on >= p.valid_from and t.treated_on < p.valid_to
    where t.treated_on <= n.as_of
)

select
    site_id,
    lot_key,
    treated_on,
    array_to_string(list_sort(list_distinct(list(treatment))), ',') as treatments,
    treated_on + max(wait_days)::integer as retest_due_on,
    any_value(before_treatment_days) as before_treatment_days
from waits
group by site_id, lot_key, treated_on
