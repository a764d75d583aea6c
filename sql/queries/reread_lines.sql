-- Lines that reading files again changed: each value before and after, and what became of the line.
-- grain: one line. key: site_id, file_id, line. parameters: only_tonight (else the newest night that read files again); most, the
-- most lines of a site, null for all
-- lines_in_all: how many there are of the site
with
asked as (
    select max(a.night_no) as night_no
    from rereads as a
    cross join run as t
    where not $only_tonight or a.night_no = t.night_no
),

changed as (
    select
        v.file_id,
        v.line_from,
        list(
            struct_pack(field := v.field, before := v.value_before, after := v.value_after) order by v.field
        ) as changed_values
    from reread_values as v
    inner join asked as n on v.night_no = n.night_no
    group by v.file_id, v.line_from
),

moved as (
    select v.*
    from reread_fates as v
    inner join asked as n on v.night_no = n.night_no
),

numbered as (
    select
        f.site_id,
        f.file_id,
        f.name as file,
        coalesce(c.line_from, m.line_from) as line,
        coalesce(c.changed_values, []) as changed_values,
        m.file_id is not null as is_moved,
        m.fate_before,
        m.cause_before,
        m.fate_after,
        m.cause_after,
        row_number() over (partition by f.site_id order by f.file_id, coalesce(c.line_from, m.line_from)) as nth,
        count(*) over (partition by f.site_id) as lines_in_all
    from changed as c
    full outer join moved as m on c.file_id = m.file_id and c.line_from = m.line_from
    inner join files as f on coalesce(c.file_id, m.file_id) = f.file_id
)

select
    n.site_id,
    t.as_of,
    n.file_id,
    n.file,
    n.line,
    n.changed_values,
    n.is_moved,
    n.fate_before,
    n.cause_before,
    n.fate_after,
    n.cause_after,
    n.lines_in_all
from numbered as n
cross join asked as a
inner join nights as t on a.night_no = t.night_no
where n.nth <= coalesce($most, n.nth)
order by n.site_id, n.nth
