-- Lines of increments that never counted and that a newer version of their file holds no more: they wait for nothing.
-- grain: one such line. key: line_file_id, line_record_no
-- inputs: files, record_problems, reading_lines, line_appearances, fate_history
-- rule (ours): a file that comes again under its name is a new version of it, or the next piece under the same name. A line
-- that was accepted once stays in both cases. One that never was gives way to the newer file where it has a fault of its
-- own or was dated ahead of its night, where that file brings other lines of the old one again, or where it has a reading
-- that differs from the line in one name or figure alone. What waits for a lot list is kept else. A line of a sheet with a
-- fault of its own gives way to a newer one of the same box (lot, purpose, due and pot) under whatever name it comes.
-- ruling_file_id: the newest file of that name; ruling_record_no: the reading that differs in one thing, where there is one
with
named_files as (
    select
        file_id,
        site_id,
        kind,
        export_no,
        name,
        mode,
        max(file_id) over (partition by site_id, kind, export_no, name) as newest_file_id
    from files
    where problem is null
),

gone as (
    select
        a.line_file_id,
        a.line_record_no,
        arg_max(n.newest_file_id, a.file_id) as ruling_file_id
    from line_appearances as a
    inner join named_files as n on a.file_id = n.file_id
    where n.mode = 'increment'
    group by a.line_file_id, a.line_record_no
    having max((a.file_id = n.newest_file_id)::integer) = 0
),

remembered as (
    select
        a.line_file_id,
        a.line_record_no,
        bool_or(h.fate = 'accepted') as was_accepted,
        bool_or(h.fate = 'held' and h.cause = 'in_future') as was_in_future
    from gone as g
    inner join line_appearances as a
        on g.line_file_id = a.line_file_id and g.line_record_no = a.line_record_no
    inner join fate_history as h on a.file_id = h.file_id and a.record_no = h.record_no
    group by a.line_file_id, a.line_record_no
),

never_used as (
    select
        g.*,
        r.was_in_future
    from gone as g
    inner join remembered as r on g.line_file_id = r.line_file_id and g.line_record_no = r.line_record_no
    where not r.was_accepted
),

faulty as (
    select distinct
        n.line_file_id,
        n.line_record_no
    from never_used as n
    inner join record_problems as p on n.line_file_id = p.file_id and n.line_record_no = p.record_no
),

-- Later files of the name under which the line came.
later_files as (
    select distinct
        n.line_file_id,
        n.line_record_no,
        a.file_id,
        l.file_id as later_file_id
    from never_used as n
    inner join line_appearances as a
        on n.line_file_id = a.line_file_id and n.line_record_no = a.line_record_no
    inner join named_files as f on a.file_id = f.file_id
    inner join named_files as l
        on
            f.site_id = l.site_id
            and f.kind = l.kind
            and f.export_no = l.export_no
            and f.name = l.name
            and f.file_id < l.file_id
),

new_versions as (
    select distinct
        l.file_id,
        l.later_file_id
    from (select distinct file_id, later_file_id from later_files) as l
    inner join line_appearances as a on l.file_id = a.file_id
    inner join line_appearances as b
        on
            l.later_file_id = b.file_id
            and a.line_file_id = b.line_file_id
            and a.line_record_no = b.line_record_no
),

of_new_versions as (
    select distinct
        l.line_file_id,
        l.line_record_no
    from later_files as l
    inner join new_versions as v on l.file_id = v.file_id and l.later_file_id = v.later_file_id
),

corrected as (
    select
        l.line_file_id,
        l.line_record_no,
        arg_max(a.line_file_id, (a.file_id, -a.record_no)) as ruling_file_id,
        arg_max(a.line_record_no, (a.file_id, -a.record_no)) as ruling_record_no
    from later_files as l
    inner join reading_lines as g on l.line_file_id = g.file_id and l.line_record_no = g.record_no
    inner join line_appearances as a on l.later_file_id = a.file_id
    inner join reading_lines as w
        on
            a.line_file_id = w.file_id and a.line_record_no = w.record_no
            -- one of the two is the same in all pairs that count; DuckDB joins by it
            and g.pot is not distinct from w.pot
    where
        (
            (lower(g.lot_code) is not distinct from lower(w.lot_code))::integer
            + (g.house is not distinct from w.house)::integer
            + (g.bench is not distinct from w.bench)::integer
            + (g.crop is not distinct from w.crop)::integer
            + (g.sampled_on is not distinct from w.sampled_on)::integer
            + (g.purpose is not distinct from w.purpose)::integer
            + (g.ph is not distinct from w.ph)::integer
            + (g.ec_ms_cm is not distinct from w.ec_ms_cm)::integer
            + (g.leachate_ml is not distinct from w.leachate_ml)::integer
        ) >= 8
    group by l.line_file_id, l.line_record_no
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
        n.line_file_id,
        n.line_record_no,
        coalesce(c.ruling_file_id, n.ruling_file_id) as ruling_file_id,
        c.ruling_record_no
    from never_used as n
    left join faulty as f on n.line_file_id = f.line_file_id and n.line_record_no = f.line_record_no
    left join of_new_versions as v on n.line_file_id = v.line_file_id and n.line_record_no = v.line_record_no
    left join corrected as c on n.line_file_id = c.line_file_id and n.line_record_no = c.line_record_no
    where
        n.was_in_future
        or f.line_file_id is not null
        or v.line_file_id is not null
        or c.line_file_id is not null
)

select
    line_file_id,
    line_record_no,
    ruling_file_id,
    ruling_record_no
from left_by_name
union all
select
    f.line_file_id,
    f.line_record_no,
    f.ruling_file_id,
    f.ruling_record_no
from filled_in_anew as f
left join left_by_name as n on f.line_file_id = n.line_file_id and f.line_record_no = n.line_record_no
where n.line_file_id is null
