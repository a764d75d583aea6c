-- The lines behind what a site's lists say against each other.
-- grain: one line behind one remark. key: rule, name, file, line. parameters: site_id
-- name: a lot code, or the file whose pots cannot be told apart
with
newest_lists as (
    select arg_max(f.file_id, o.order_no) as file_id
    from files as f
    inner join file_order as o on f.file_id = o.file_id
    where f.kind = 'lots' and f.problem is null and f.site_id = $site_id
    group by f.export_no
),

written as (
    select distinct
        l.lot_code,
        v.line_file_id,
        v.line_record_no
    from newest_lists as n
    inner join record_versions as v on n.file_id = v.file_id
    inner join lot_lines as l on v.line_file_id = l.file_id and v.line_record_no = l.record_no
    where l.lot_code is not null
    qualify count(distinct l.lot_code) over (partition by lower(l.lot_code)) > 1
),

gone as (
    select
        v.file_id,
        v.record_no,
        l.lot_code,
        bool_or(v.version = 'current') over code as is_listed,
        bool_or(v.version = 'withdrawn') over code as is_withdrawn
    from record_versions as v
    inner join lot_lines as l on v.file_id = l.file_id and v.record_no = l.record_no
    where v.kind = 'lots' and v.site_id = $site_id and l.lot_code is not null
    window code as (partition by lower(l.lot_code))
),

behind as (
    select
        'lot_code_twice' as rule,
        w.lot_code as name,
        'in the newest lot list' as what,
        w.line_file_id as file_id,
        w.line_record_no as record_no
    from written as w
    union all
    select
        'lot_gone',
        g.lot_code,
        'was in the lot list',
        g.file_id,
        g.record_no
    from gone as g
    where
        g.is_withdrawn
        and not g.is_listed
        and exists (
            select 1
            from record_fates as f
            where
                f.site_id = $site_id
                and f.cause = 'lot_unknown'
                and f.export_kind = 'readings'
                and lower(f.what) = lower(g.lot_code)
        )
    union all
    select
        'lot_gone',
        f.what,
        'waits for it',
        f.file_id,
        f.record_no
    from record_fates as f
    where
        f.site_id = $site_id
        and f.cause = 'lot_unknown'
        and f.export_kind = 'readings'
        and lower(f.what) in (select lower(g.lot_code) from gone as g where g.is_withdrawn and not g.is_listed)
    union all
    select
        'lot_ends_first',
        l.lot_id,
        l.started_on || ' to ' || l.ends_on,
        l.file_id,
        l.record_no
    from current_lots as l
    where l.site_id = $site_id and l.is_usable and l.ends_on < l.started_on
    union all
    select
        'pots_not_told_apart',
        f.name,
        'pot ' || g.pot || ' of ' || g.lot_code || ', ' || g.sampled_on,
        a.line_file_id,
        a.line_record_no
    from repeated_pots as p
    inner join files as f on p.file_id = f.file_id
    inner join run as t on f.night_no = t.night_no
    inner join line_appearances as a on p.file_id = a.file_id
    inner join reading_lines as g
        on
            a.line_file_id = g.file_id
            and a.line_record_no = g.record_no
            and p.lot_key = lower(g.lot_code)
            and p.sampled_on = g.sampled_on
            and p.purpose = g.purpose
    where f.site_id = $site_id and g.pot is not null
    qualify count(*) over (partition by p.file_id, p.lot_key, p.sampled_on, p.purpose, lower(g.pot)) > 1
)

select
    b.rule,
    b.name,
    b.what,
    f.name as file,
    c.line_from as line,
    c.text
from behind as b
inner join files as f on b.file_id = f.file_id
inner join records as c on b.file_id = c.file_id and b.record_no = c.record_no
where
    b.rule in (select l.rule from list_findings as l where l.site_id = $site_id)
order by b.rule, lower(b.name), b.what, f.file_id, c.line_from
