-- Questions about a site's readings as a whole: digits, whole numbers, a jump of the scale, pots from the front.
-- grain: one rule's remark on one site. key: site_id, rule, quantity
-- inputs: usable_readings, records, front_rows, policy, policy_finding_levels, run
-- rules: chi-square goodness of fit of the last digits, 9 degrees of freedom, 0.1 % point 27.877 (NIST/SEMATECH e-Handbook
-- 1.3.5.15, table 1.3.6.7.4, value from memory, recomputed by a test); numbers of readings, shares and ratios are house defaults.
-- A scale is told from lots that were read both lately and before, all of them together and lot by lot (house default): young plugs
-- that come into the books or hungry lots that are shipped move the site's median as well.
with recent as (
    select
        u.site_id,
        u.lot_key,
        u.sampled_on,
        u.ph,
        u.ec_25_ms_cm,
        u.ec_recorded_ms_cm,
        trim(json_extract_string(c.cells, '$.ph')) as ph_text,
        trim(json_extract_string(c.cells, '$.ec')) as ec_text,
        t.as_of,
        u.sampled_on > t.as_of - p.question_days as is_in_month
    from usable_readings as u
    inner join records as c on u.file_id = c.file_id and u.record_no = c.record_no
    cross join run as t
    inner join policy as p on u.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
    where u.n_pots = 1 and u.sampled_on > t.as_of - greatest(p.question_days, 56)
),

digits as (
    select
        site_id,
        quantity,
        right(written, 1)::integer as digit
    from (
        select
            site_id,
            'ph' as quantity,
            ph_text as written
        from recent
        where is_in_month
        union all
        select
            site_id,
            'ec' as quantity,
            ec_text as written
        from recent
        where is_in_month
    )
    -- with one decimal the last digit is the reading itself, and that clusters honestly
    where regexp_matches(written, '^[0-9]+[.,][0-9][0-9]$')
),

digit_counts as (
    select
        site_id,
        quantity,
        digit,
        count(*) as n
    from digits
    group by site_id, quantity, digit
),

digit_spread as (
    select
        site_id,
        quantity,
        sum(n)::integer as n,
        -- sum of (observed - expected)^2 / expected, with the digits that never came
        sum(n * n)::double * 10 / sum(n) - sum(n) as chi_square,
        arg_max(digit, n) as commonest,
        max(n)::double / sum(n) as share
    from digit_counts
    group by site_id, quantity
),

whole as (
    select
        site_id,
        count(*)::integer as n,
        count(*) filter (where ec_recorded_ms_cm = floor(ec_recorded_ms_cm))::integer as whole
    from recent
    where is_in_month and ec_recorded_ms_cm is not null
    group by site_id
),

lot_scales as (
    select
        site_id,
        lot_key,
        median(ec_25_ms_cm::double) filter (where sampled_on > as_of - 14) as now,
        median(ec_25_ms_cm::double) filter (where sampled_on <= as_of - 14) as before
    from recent
    where ec_25_ms_cm is not null
    group by site_id, lot_key
    having now is not null and before > 0
),

lot_ratios as (
    select
        site_id,
        median(now / before) as ratio
    from lot_scales
    group by site_id
),

scales as (
    select
        r.site_id,
        count(*) filter (where r.sampled_on > r.as_of - 14)::integer as n,
        count(*) filter (where r.sampled_on <= r.as_of - 14)::integer as n_before,
        median(r.ec_25_ms_cm::double) filter (where r.sampled_on > r.as_of - 14) as now,
        median(r.ec_25_ms_cm::double) filter (where r.sampled_on <= r.as_of - 14) as before
    from recent as r
    inner join lot_scales as l on r.site_id = l.site_id and r.lot_key = l.lot_key
    where r.ec_25_ms_cm is not null
    group by r.site_id
),

f as (select unnest([1000.0, 0.001, 2.0, 0.5, 0.7, 1 / 0.7]) as factor),

jumps as (
    select
        s.*,
        f.factor
    from scales as s
    inner join lot_ratios as l on s.site_id = l.site_id
    cross join f
    where
        s.n >= 15
        and s.n_before >= 15
        and abs(s.now / s.before / f.factor - 1) <= 0.1
        and abs(l.ratio / f.factor - 1) <= 0.1
    -- 0.5 and 0.7 lie apart, so a ratio is near one factor at most
    qualify row_number() over (partition by s.site_id order by abs(s.now / s.before / f.factor - 1) asc) = 1
),

questions as (
    select
        site_id,
        'last_digits' as rule,
        'note' as level,
        quantity,
        n,
        commonest::double as a,
        share as b,
        chi_square as c
    from digit_spread
    where n >= 100 and chi_square > 27.877
    union all
    select
        site_id, 'whole_ec', 'note', 'ec', n, whole::double, whole::double / n, null
    from whole
    where n >= 50 and whole >= 0.3 * n
    union all
    select
        site_id, 'scale_jump', 'warn', 'ec', n, now, before, factor
    from jumps
    union all
    -- what its p is, and from how many pots on there is one: pipeline/measures/positions.py
    select
        site_id, 'front_of_bench', 'warn', 'place', pots, in_front, expected, p
    from front_rows
    where p < 0.01
)

select
    q.* replace (coalesce(o.level, q.level) as level)
from questions as q
cross join run as t
left join policy_finding_levels as o
    on q.site_id = o.site_id and q.rule = o.rule and t.as_of >= o.valid_from and t.as_of < o.valid_to
where o.level is distinct from 'off'
