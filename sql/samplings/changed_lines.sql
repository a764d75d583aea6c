-- Readings of whole histories that were changed where they stood: one row of a sampling went, and one came in its place.
-- grain: one line that the next file has no more. key: line_file_id, line_record_no
-- inputs: files, file_order, line_appearances, reading_lines
-- rule (ours): from one file of a cumulative export to the next, exactly one line of a lot, day and purpose went and exactly
-- one came, under the same record number. Several at once could be paired in more than one way, and are not paired.
-- ruling_*: the line that came
with
followed as (
    select
        f.file_id,
        o.order_no,
        lead(f.file_id) over (partition by f.site_id, f.kind, f.export_no order by o.order_no) as next_file_id
    from files as f
    inner join file_order as o on f.file_id = o.file_id
    where f.problem is null and f.kind = 'readings' and f.mode = 'cumulative' and f.numbers_pots is distinct from true
),

last_seen as (
    select
        a.line_file_id,
        a.line_record_no,
        arg_max(a.file_id, f.order_no) as file_id
    from line_appearances as a
    inner join followed as f on a.file_id = f.file_id
    group by a.line_file_id, a.line_record_no
),

gone as (
    select
        s.*,
        f.next_file_id,
        lower(g.lot_code) as lot_key,
        g.sampled_on,
        g.purpose
    from last_seen as s
    inner join followed as f on s.file_id = f.file_id
    inner join reading_lines as g on s.line_file_id = g.file_id and s.line_record_no = g.record_no
    where f.next_file_id is not null and g.lot_code is not null and g.sampled_on is not null
),

samplings_of_pairs as (
    select distinct
        file_id,
        next_file_id,
        lot_key,
        sampled_on,
        purpose
    from gone
),

-- The lines of these samplings in either of the two files; one that stands in both has both numbers.
stood as (
    select
        p.file_id,
        p.next_file_id,
        p.lot_key,
        p.sampled_on,
        p.purpose,
        a.line_file_id,
        a.line_record_no,
        max(a.record_no) filter (where a.file_id = p.file_id) as record_no,
        max(a.record_no) filter (where a.file_id = p.next_file_id) as next_record_no
    from samplings_of_pairs as p
    inner join reading_lines as g
        on p.lot_key = lower(g.lot_code) and p.sampled_on = g.sampled_on and p.purpose = g.purpose
    inner join line_appearances as a on g.file_id = a.line_file_id and g.record_no = a.line_record_no
    where a.file_id in (p.file_id, p.next_file_id)
    group by all
),

paired as (
    select
        any_value(line_file_id) filter (where next_record_no is null) as line_file_id,
        any_value(line_record_no) filter (where next_record_no is null) as line_record_no,
        any_value(line_file_id) filter (where record_no is null) as ruling_file_id,
        any_value(line_record_no) filter (where record_no is null) as ruling_record_no,
        any_value(record_no) filter (where next_record_no is null) as went_at,
        any_value(next_record_no) filter (where record_no is null) as came_at,
        count(*) filter (where next_record_no is null) as went,
        count(*) filter (where record_no is null) as came
    from stood
    group by file_id, next_file_id, lot_key, sampled_on, purpose
)

select
    p.line_file_id,
    p.line_record_no,
    p.ruling_file_id,
    p.ruling_record_no
from paired as p
-- a line that came back later did not go for good
inner join gone as g on p.line_file_id = g.line_file_id and p.line_record_no = g.line_record_no
where p.went = 1 and p.came = 1 and p.went_at = p.came_at
qualify row_number() over (partition by p.line_file_id, p.line_record_no order by p.ruling_file_id desc) = 1
