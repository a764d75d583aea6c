-- What the rules remark about a site's water and its feed at the hose end, with every figure beside.
-- grain: one rule's remark on one check. key: site_id, rule, file_id, record_no
-- inputs: judged_waters, judged_feeds, policy_finding_levels, run
-- rules: alkalinity by container is published (the rows in pipeline/reference name their sources); that the EC of water and
-- fertilizer add up is a rule of thumb, the tolerance a house default; what leaves the hose with less EC than the water is
-- measured wrong or not the water (common practice).
-- ranges: what is published for the container classes for which the water is outside; c: above it acid is thought of
with
alkaline as (
    select
        site_id,
        checked_on,
        file_id,
        record_no,
        alkalinity_mg_l,
        low,
        high,
        acid_above,
        source,
        list_sort(list(container_class)) as classes,
        bool_or(word = 'acid') as is_acid
    from judged_waters
    where word in ('low', 'high', 'acid')
    group by site_id, checked_on, file_id, record_no, alkalinity_mg_l, low, high, acid_above, source
),

remarks as (
    select
        site_id,
        case when bool_or(is_acid) then 'alkalinity_acid' else 'alkalinity_outside' end as rule,
        case when bool_or(is_acid) then 'warn' else 'note' end as level,
        file_id,
        record_no,
        null::varchar as place,
        checked_on,
        null::date as water_on,
        alkalinity_mg_l as a,
        null::double as b,
        min(acid_above) filter (where is_acid) as c,
        null::double as d,
        list(
            struct_pack(classes := classes, low := low, high := high, source := source) order by classes
        ) as ranges
    from alkaline
    group by site_id, file_id, record_no, checked_on, alkalinity_mg_l
    union all
    select
        site_id,
        case when hose_ec_ms_cm < water_ec_ms_cm then 'feed_below_water' else 'feed_' || word end,
        'warn',
        file_id,
        record_no,
        hose_key,
        checked_on,
        water_on,
        hose_ec_ms_cm,
        water_ec_ms_cm,
        target_ec_ms_cm,
        share,
        null
    from judged_feeds
    where hose_ec_ms_cm < water_ec_ms_cm or word in ('weak', 'strong')
)

select
    r.* replace (coalesce(o.level, r.level) as level)
from remarks as r
cross join run as t
left join policy_finding_levels as o
    on r.site_id = o.site_id and r.rule = o.rule and t.as_of >= o.valid_from and t.as_of < o.valid_to
where o.level is distinct from 'off'
