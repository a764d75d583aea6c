-- Lines of increments that gave way to a later file of their name, which has them no more, and boxes of a sheet filled in anew.
-- grain: one such line. key: line_file_id, line_record_no
-- inputs: gone_lines, line_twins, line_appearances, line_keys, files, reading_lines, record_problems
-- rules (ours): a line that is missing in a newer version of its file (file_versions) is superseded by the new line that
-- mends it; by the only new line of its sampling, where it is the only one of that sampling that went; by the new line that is
-- the same but for its day, or but for lot and place; otherwise it is withdrawn. Days before the first one that the newer
-- version has stay: an export may hold the last weeks only. Where the later file is one more increment, a line gives
-- way only to the one that mends it (line_twins), and only if it was never accepted. A line of a sheet with a fault of its
-- own gives way to a newer one of the same box (lot, purpose, due and pot) under whatever name it comes.
-- version: superseded or withdrawn; ruling_*: the line that took its place, null where it was withdrawn
with
missing as (
    select
        g.line_file_id,
        g.line_record_no,
        g.file_id,
        g.later_file_id,
        k.sampling_key,
        k.line_key,
        k.day_on,
        t.how,
        t.ruling_file_id,
        t.ruling_record_no
    from gone_lines as g
    inner join line_keys as k on g.line_file_id = k.file_id and g.line_record_no = k.record_no
    left join line_twins as t
        on
            g.line_file_id = t.line_file_id
            and g.line_record_no = t.line_record_no
            and g.later_file_id = t.later_file_id
    where g.is_missing
),

file_pairs as (
    select distinct
        file_id,
        later_file_id
    from missing
),

open_files as (
    select distinct file_id
    from missing
),

stood as (
    select
        p.file_id,
        a.line_file_id,
        a.line_record_no,
        k.line_key
    from open_files as p
    inner join line_appearances as a on p.file_id = a.file_id
    inner join line_keys as k on a.line_file_id = k.file_id and a.line_record_no = k.record_no
),

stands as (
    select
        p.file_id,
        p.later_file_id,
        a.line_file_id,
        a.line_record_no,
        k.line_key,
        k.sampling_key,
        k.day_on
    from file_pairs as p
    inner join line_appearances as a on p.later_file_id = a.file_id
    inner join line_keys as k on a.line_file_id = k.file_id and a.line_record_no = k.record_no
),

first_days as (
    select
        file_id,
        later_file_id,
        min(day_on) as day_on
    from stands
    group by file_id, later_file_id
),

-- Lines on either side that have no match on the other.
went as (
    select m.*
    from missing as m
    left join stands as s
        on m.file_id = s.file_id and m.later_file_id = s.later_file_id and m.line_key = s.line_key
    where s.line_key is null and (m.how is null or m.how in ('day', 'lot'))
),

came as (
    select s.*
    from stands as s
    left join stood as o
        on s.file_id = o.file_id and s.line_file_id = o.line_file_id and s.line_record_no = o.line_record_no
    left join stood as k on s.file_id = k.file_id and s.line_key = k.line_key
    left join missing as m
        on
            s.file_id = m.file_id
            and s.line_file_id = m.ruling_file_id
            and s.line_record_no = m.ruling_record_no
            and m.how in ('own', 'mended')
    where o.file_id is null and k.file_id is null and m.file_id is null
),

one_went as (
    select
        file_id,
        later_file_id,
        sampling_key
    from went
    where sampling_key is not null
    group by file_id, later_file_id, sampling_key
    having count(*) = 1
),

one_came as (
    select
        file_id,
        later_file_id,
        sampling_key,
        any_value(line_file_id) as line_file_id,
        any_value(line_record_no) as line_record_no
    from came
    group by file_id, later_file_id, sampling_key
    having count(*) = 1
),

by_sampling as (
    select
        w.file_id,
        w.later_file_id,
        w.sampling_key,
        c.line_file_id as ruling_file_id,
        c.line_record_no as ruling_record_no
    from one_went as w
    inner join one_came as c
        on w.file_id = c.file_id and w.later_file_id = c.later_file_id and w.sampling_key = c.sampling_key
),

left_by_version as (
    select
        m.line_file_id,
        m.line_record_no,
        coalesce(b.ruling_file_id, m.ruling_file_id) as ruling_file_id,
        coalesce(b.ruling_record_no, m.ruling_record_no) as ruling_record_no,
        coalesce(m.day_on < d.day_on, false) as is_before_first_day
    from missing as m
    inner join first_days as d on m.file_id = d.file_id and m.later_file_id = d.later_file_id
    left join went as w on m.line_file_id = w.line_file_id and m.line_record_no = w.line_record_no
    left join by_sampling as b
        on w.file_id = b.file_id and w.later_file_id = b.later_file_id and w.sampling_key = b.sampling_key
),

left_by_itself as (
    select
        g.line_file_id,
        g.line_record_no,
        arg_min(t.ruling_file_id, g.later_file_id) as ruling_file_id,
        arg_min(t.ruling_record_no, g.later_file_id) as ruling_record_no
    from gone_lines as g
    inner join line_twins as t
        on
            g.line_file_id = t.line_file_id
            and g.line_record_no = t.line_record_no
            and g.later_file_id = t.later_file_id
    where not g.is_missing
    group by g.line_file_id, g.line_record_no
),

-- The sheet's exports count 0 and down.
boxes as (
    select
        f.site_id,
        lower(g.lot_code) as lot_key,
        g.purpose,
        g.due_why,
        g.due_on,
        lower(g.pot) as pot_key,
        a.line_file_id,
        a.line_record_no,
        max(a.file_id) as last_file_id
    from line_appearances as a
    inner join files as f on a.file_id = f.file_id
    inner join reading_lines as g on a.line_file_id = g.file_id and a.line_record_no = g.record_no
    where
        f.export_no < 1
        and g.lot_code is not null and g.due_why is not null and g.due_on is not null and g.pot is not null
    group by all
),

filled_in_anew as (
    select
        b.line_file_id,
        b.line_record_no,
        arg_max(w.line_file_id, (w.last_file_id, -w.line_record_no)) as ruling_file_id,
        arg_max(w.line_record_no, (w.last_file_id, -w.line_record_no)) as ruling_record_no
    from boxes as b
    inner join boxes as w
        on
            b.site_id = w.site_id
            and b.lot_key = w.lot_key
            and b.purpose = w.purpose
            and b.due_why = w.due_why
            and b.due_on = w.due_on
            and b.pot_key = w.pot_key
            and b.last_file_id < w.last_file_id
    where
        exists (
            select 1
            from record_problems as p
            where p.file_id = b.line_file_id and p.record_no = b.line_record_no
        )
    group by b.line_file_id, b.line_record_no
),

left_by_name as (
    select
        line_file_id,
        line_record_no,
        ruling_file_id,
        ruling_record_no
    from left_by_version
    where ruling_file_id is not null or not is_before_first_day
    union all
    select
        line_file_id,
        line_record_no,
        ruling_file_id,
        ruling_record_no
    from left_by_itself
)

select
    line_file_id,
    line_record_no,
    ruling_file_id,
    ruling_record_no,
    if(ruling_file_id is null, 'withdrawn', 'superseded') as version
from left_by_name
union all
select
    f.line_file_id,
    f.line_record_no,
    f.ruling_file_id,
    f.ruling_record_no,
    'superseded' as version
from filled_in_anew as f
left join left_by_name as n on f.line_file_id = n.line_file_id and f.line_record_no = n.line_record_no
where n.line_file_id is null
