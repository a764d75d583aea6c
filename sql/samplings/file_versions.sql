-- Increments that came again under their own name, with how much of the earlier file the later one repeats.
-- grain: one earlier file and one later file of its name that repeats a line of it or has its samplings. key: file_id, later_file_id
-- inputs: files, line_appearances, line_keys
-- rule (ours): a later increment of the same site, export and name is a newer version of the earlier one where it repeats at
-- least half of its data lines: lines that say the same (the k-th the k-th), or have the same key. Else it is one more
-- increment under the same name. A file held whole is no version of anything.
-- A file is compared with the next one of its name, and only where that is no newer version of it with those after.
-- lines: data lines of the earlier file; repeated: those of them that the later one has
with
named_files as (
    select
        file_id,
        lead(file_id) over same_name as next_file_id,
        dense_rank() over (order by site_id, kind, export_no, name) as name_no
    from files
    where problem is null and mode = 'increment'
    window same_name as (partition by site_id, kind, export_no, name order by file_id)
),

said as (
    select
        n.file_id,
        n.next_file_id,
        n.name_no,
        a.record_no,
        a.line_file_id,
        a.line_record_no,
        k.line_key,
        k.sampling_key
    from named_files as n
    inner join line_appearances as a on n.file_id = a.file_id
    inner join line_keys as k on a.line_file_id = k.file_id and a.line_record_no = k.record_no
),

counts as (
    select
        file_id,
        count(*)::integer as lines
    from said
    group by file_id
),

repeated_by_next as (
    select
        a.file_id,
        b.file_id as later_file_id,
        a.record_no
    from said as a
    inner join said as b
        on
            a.next_file_id = b.file_id
            and a.line_file_id = b.line_file_id
            and a.line_record_no = b.line_record_no
    union
    select
        a.file_id,
        b.file_id as later_file_id,
        a.record_no
    from said as a
    inner join said as b on a.next_file_id = b.file_id and a.line_key = b.line_key
),

next_versions as (
    select
        r.file_id,
        r.later_file_id,
        c.lines,
        count(*)::integer as repeated
    from repeated_by_next as r
    inner join counts as c on r.file_id = c.file_id
    group by r.file_id, r.later_file_id, c.lines
),

open_files as (
    select
        n.file_id,
        n.next_file_id
    from named_files as n
    left join next_versions as v on n.file_id = v.file_id
    where v.file_id is null or 2 * v.repeated < v.lines
),

repeated_later as (
    select
        a.file_id,
        b.file_id as later_file_id,
        a.record_no
    from open_files as o
    inner join said as a on o.file_id = a.file_id
    inner join said as b
        on
            a.name_no = b.name_no
            and a.next_file_id < b.file_id
            and a.line_file_id = b.line_file_id
            and a.line_record_no = b.line_record_no
    union
    select
        a.file_id,
        b.file_id as later_file_id,
        a.record_no
    from open_files as o
    inner join said as a on o.file_id = a.file_id
    inner join said as b on a.name_no = b.name_no and a.next_file_id < b.file_id and a.line_key = b.line_key
),

later_versions as (
    select
        r.file_id,
        r.later_file_id,
        c.lines,
        count(*)::integer as repeated
    from repeated_later as r
    inner join counts as c on r.file_id = c.file_id
    group by r.file_id, r.later_file_id, c.lines
),

repeating as (
    select * from next_versions
    union all
    select * from later_versions
),

file_samplings as (
    select
        file_id,
        name_no,
        sampling_key,
        count(*)::integer as lines,
        -- counts what is there
        count(line_key)::integer as keyed
    from said
    group by file_id, name_no, sampling_key
),

-- Files of three lines or more that are readings without a key from the first to the last.
unkeyed as (
    select
        file_id,
        sum(lines)::integer as lines,
        count(*)::integer as samplings
    from file_samplings
    group by file_id
    having sum(lines) >= 3 and sum(keyed) = 0 and count(*) = count(sampling_key)
),

same_samplings as (
    select
        a.file_id,
        b.file_id as later_file_id,
        u.lines
    from unkeyed as u
    inner join file_samplings as a on u.file_id = a.file_id
    inner join file_samplings as b
        on
            a.name_no = b.name_no
            and a.file_id < b.file_id
            and a.sampling_key = b.sampling_key
            and a.lines = b.lines
            and b.keyed = 0
    group by a.file_id, b.file_id, u.lines, u.samplings
    having count(*) = u.samplings
)

select
    coalesce(r.file_id, s.file_id) as file_id,
    coalesce(r.later_file_id, s.later_file_id) as later_file_id,
    coalesce(r.lines, s.lines) as lines,
    coalesce(r.repeated, 0) as repeated,
    coalesce(2 * r.repeated >= r.lines, false) or s.file_id is not null as is_newer_version
from repeating as r
full join same_samplings as s on r.file_id = s.file_id and r.later_file_id = s.later_file_id
