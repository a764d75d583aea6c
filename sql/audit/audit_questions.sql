-- Questions about a site's readings as a whole, over the days of an audited period.
-- grain: one rule's remark on one site over one span of days. key: site_id, rule, quantity, from_on, until_on
-- inputs: usable_readings, records, site_questions, policy, policy_finding_levels, audit_period
-- rules: last digits and whole numbers as in judgement/site_questions, over each stretch of question_days (house default), counted
-- back from the end of the period (a preference of one month drowns in a year), and over the whole period (few readings a month
-- tell nothing).
-- The scale and the front row are asked about by the night itself, over its own last days: shown where those touch the period.
with
sites_asked as (
    select
        q.site_id,
        q.question_days,
        p.from_on,
        p.to_on,
        p.as_of
    from policy as q
    inner join audit_period as p
        on q.valid_from <= p.as_of and q.valid_to > p.as_of and (p.site_id is null or q.site_id = p.site_id)
),

stretches as (
    select
        site_id,
        from_on as period_from_on,
        to_on,
        question_days,
        unnest(generate_series(0, (to_on - from_on) // question_days)) as step
    from sites_asked
),

spans as (
    select
        site_id,
        greatest(period_from_on, to_on - (step + 1)::integer * question_days + 1) as from_on,
        to_on - step::integer * question_days as until_on
    from stretches
    union
    select
        site_id,
        from_on,
        to_on as until_on
    from sites_asked
),

written as (
    select
        s.site_id,
        s.from_on,
        s.until_on,
        u.ec_recorded_ms_cm,
        trim(json_extract_string(c.cells, '$.ph')) as ph_text,
        trim(json_extract_string(c.cells, '$.ec')) as ec_text
    from spans as s
    inner join usable_readings as u
        on s.site_id = u.site_id and u.sampled_on between s.from_on and s.until_on and u.n_pots = 1
    inner join records as c on u.file_id = c.file_id and u.record_no = c.record_no
),

digit_counts as (
    select
        site_id,
        from_on,
        until_on,
        quantity,
        right(cell, 1)::integer as digit,
        count(*) as n
    from (
        select
            site_id,
            from_on,
            until_on,
            unnest(['ph', 'ec']) as quantity,
            unnest([ph_text, ec_text]) as cell
        from written
    )
    -- with one decimal the last digit is the reading itself, and that clusters honestly
    where regexp_matches(cell, '^[0-9]+[.,][0-9][0-9]$')
    group by all
),

digit_spread as (
    select
        site_id,
        from_on,
        until_on,
        quantity,
        sum(n)::integer as n,
        sum(n * n)::double * 10 / sum(n) - sum(n) as chi_square,
        min_by(digit, (-n, digit)) as commonest,
        max(n)::double / sum(n) as share
    from digit_counts
    group by site_id, from_on, until_on, quantity
),

whole as (
    select
        site_id,
        from_on,
        until_on,
        count(*)::integer as n,
        count(*) filter (where ec_recorded_ms_cm = floor(ec_recorded_ms_cm))::integer as whole
    from written
    where ec_recorded_ms_cm is not null
    group by site_id, from_on, until_on
),

questions as (
    select
        site_id,
        'last_digits' as rule,
        'note' as level,
        quantity,
        from_on,
        until_on,
        n,
        commonest::double as a,
        share as b,
        chi_square as c
    from digit_spread
    where n >= 100 and chi_square > 27.877
    union all
    select
        site_id, 'whole_ec', 'note', 'ec', from_on, until_on, n, whole::double, whole::double / n, null
    from whole
    where n >= 50 and whole >= 0.3 * n
),

levelled as (
    select
        q.* replace (coalesce(o.level, q.level) as level)
    from questions as q
    cross join audit_period as p
    left join policy_finding_levels as o
        on q.site_id = o.site_id and q.rule = o.rule and p.as_of >= o.valid_from and p.as_of < o.valid_to
    where o.level is distinct from 'off'
),

-- these carry their level already
of_the_night as (
    select
        q.site_id,
        q.rule,
        q.level,
        q.quantity,
        (s.as_of - if(q.rule = 'scale_jump', greatest(s.question_days, 56), s.question_days) + 1)::date as from_on,
        s.as_of as until_on,
        q.n,
        q.a,
        q.b,
        q.c
    from site_questions as q
    inner join sites_asked as s on q.site_id = s.site_id
    where q.rule in ('scale_jump', 'front_of_bench') and s.to_on > s.as_of - s.question_days
)

select * from levelled
union all
select * from of_the_night
