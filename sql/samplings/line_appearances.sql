-- Where each line stays: lines of several files of one export that say the same are one line, which stays where it was seen first.
-- grain: one data record of a file that could be read as a whole. key: file_id, record_no
-- inputs: files, records
-- rule (ours): the k-th line of a file that says the same matches the k-th of another file of the same export that reads the
-- same columns in the same order. What a line says is its cells that are read, however they are quoted and whatever stands
-- beside them. Of a line that was read under several settings the reading under those of the newest file stays.
-- columns_read, content: what the line says; line_file_id, line_record_no: where it stays
with
readable_files as (
    select
        file_id,
        site_id,
        kind,
        export_no,
        reading_digest,
        list_filter(from_json(layout, '["VARCHAR"]'), lambda name: name is not null) as columns_read
    from files
    where problem is null
),

newest_files as (
    select
        site_id,
        kind,
        export_no,
        arg_max(reading_digest, file_id) as reading_digest
    from readable_files
    group by site_id, kind, export_no
),

-- Records that hold their own text; the others point to one of these.
texts as (
    select
        f.file_id,
        r.record_no,
        f.site_id,
        f.kind,
        f.export_no,
        f.columns_read,
        coalesce(r.content, r.text) as content,
        r.nth,
        f.reading_digest = n.reading_digest as is_read_as_today
    from records as r
    inner join readable_files as f on r.file_id = f.file_id
    inner join newest_files as n on f.site_id = n.site_id and f.kind = n.kind and f.export_no = n.export_no
    where r.kind = 'data' and r.same_as_file_id is null
),

placed as (
    select
        file_id,
        record_no,
        columns_read,
        content,
        first_value(file_id) over same_line as line_file_id,
        first_value(record_no) over same_line as line_record_no
    from texts
    window
        same_line as (
            partition by site_id, kind, export_no, columns_read, content, nth
            order by is_read_as_today desc, file_id asc
        )
)

select
    file_id,
    record_no,
    line_file_id,
    line_record_no
from placed
union all
select
    r.file_id,
    r.record_no,
    p.line_file_id,
    p.line_record_no
from records as r
inner join files as f on r.file_id = f.file_id
inner join placed as p on r.same_as_file_id = p.file_id and r.same_as_record_no = p.record_no
where f.problem is null
