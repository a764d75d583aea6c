-- Files that tonight read again because their settings were mended, and what that changed.
-- grain: one file. key: site_id, file
with
before as (
    select
        h.file_id,
        count(*) filter (where h.fate = 'accepted')::integer as accepted,
        count(*) filter (where h.fate = 'held')::integer as held
    from fate_history as h
    cross join run as t
    where h.from_night < t.night_no and coalesce(h.until_night, t.night_no) >= t.night_no
    group by h.file_id
),

now as (
    select
        file_id,
        count(*) filter (where fate = 'accepted')::integer as accepted,
        count(*) filter (where fate = 'held')::integer as held
    from record_fates
    group by file_id
)

select
    f.site_id,
    f.name as file,
    a.changed_lines,
    coalesce(b.accepted, 0) as accepted_before,
    n.accepted as accepted_after,
    coalesce(b.held, 0) as held_before,
    n.held as held_after
from rereads as a
inner join run as t on a.night_no = t.night_no
inner join files as f on a.file_id = f.file_id
inner join now as n on a.file_id = n.file_id
left join before as b on a.file_id = b.file_id
order by f.site_id, f.file_id
