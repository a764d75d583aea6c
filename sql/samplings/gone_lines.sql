-- Lines of increments that are no more in a later file of their name, each beside that file.
-- grain: one such line and one later file. key: line_file_id, line_record_no, later_file_id
-- inputs: files, line_appearances, file_versions, fate_history
-- rule (ours): a line is missing where the file in which it was seen last has a newer version; lists of lots, people and
-- plantings name only what is new, so nothing is missing in them. A line that was never accepted is waiting where the newest
-- file of none of its names has it; it may be mended in any later file.
-- file_id: where the line was seen last; cause: what held it last, if anything
with
named_files as (
    select
        file_id,
        kind,
        dense_rank() over (order by site_id, kind, export_no, name) as name_no,
        max(file_id) over (partition by site_id, kind, export_no, name) as newest_file_id
    from files
    where problem is null and mode = 'increment'
),

seen as (
    select
        a.line_file_id,
        a.line_record_no,
        max(a.file_id) as file_id,
        bool_or(a.file_id = n.newest_file_id) as is_in_newest
    from line_appearances as a
    inner join named_files as n on a.file_id = n.file_id
    group by a.line_file_id, a.line_record_no
),

newer_versions as (
    select
        v.file_id,
        min(v.later_file_id) as later_file_id
    from file_versions as v
    inner join named_files as n on v.file_id = n.file_id
    where v.is_newer_version and n.kind not in ('lots', 'people', 'plantings')
    group by v.file_id
),

gone as (
    select
        s.line_file_id,
        s.line_record_no,
        s.file_id,
        v.later_file_id
    from seen as s
    left join newer_versions as v on s.file_id = v.file_id
    where v.file_id is not null or not s.is_in_newest
),

remembered as (
    select
        g.line_file_id,
        g.line_record_no,
        bool_or(h.fate = 'accepted') as was_accepted,
        arg_max(h.cause, (h.from_night, h.file_id)) filter (where h.fate = 'held') as cause
    from gone as g
    inner join line_appearances as a on g.line_file_id = a.line_file_id and g.line_record_no = a.line_record_no
    inner join fate_history as h on a.file_id = h.file_id and a.record_no = h.record_no
    group by g.line_file_id, g.line_record_no
)

select
    g.line_file_id,
    g.line_record_no,
    g.file_id,
    g.later_file_id,
    true as is_missing,
    r.cause
from gone as g
left join remembered as r on g.line_file_id = r.line_file_id and g.line_record_no = r.line_record_no
where g.later_file_id is not null
union all
select
    g.line_file_id,
    g.line_record_no,
    g.file_id,
    l.file_id as later_file_id,
    false as is_missing,
    r.cause
from gone as g
inner join remembered as r on g.line_file_id = r.line_file_id and g.line_record_no = r.line_record_no
inner join named_files as f on g.file_id = f.file_id
inner join named_files as l on f.name_no = l.name_no and f.file_id < l.file_id
where g.later_file_id is null and not r.was_accepted
