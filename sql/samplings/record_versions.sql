-- Which version of a line rules: the first appearance of a text stays, later ones repeat it, newer texts supersede it.
-- grain: one data record of a file that could be read as a whole. key: file_id, record_no
-- inputs: files, records, reading_lines, lot_lines, planting_lines, people_lines
-- rule (ours): the k-th equal text of a file matches the k-th of another file of the same export in the same layout; a line
-- that the newest file of a cumulative export no longer holds was withdrawn; where lines have a key, the version seen last
-- rules. Of a line that was read under several settings the reading under those of the newest file stays.
-- line_file_id, line_record_no: where the line stays; ruling_*: the line that superseded it
with
newest_files as (
    select
        site_id,
        kind,
        export_no,
        max(file_id) as file_id,
        arg_max(reading_digest, file_id) as reading_digest
    from files
    where problem is null
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
        f.mode,
        f.numbers_pots,
        f.layout,
        r.text,
        r.nth,
        f.reading_digest = n.reading_digest as is_read_as_today
    from records as r
    inner join files as f on r.file_id = f.file_id
    inner join newest_files as n on f.site_id = n.site_id and f.kind = n.kind and f.export_no = n.export_no
    where r.kind = 'data' and f.problem is null and r.same_as_file_id is null
),

keyed as (
    select
        d.*,
        case
            -- lines of one lot that hold from different days are facts side by side
            when d.kind = 'lots' and l.lot_code is not null
                then concat_ws(chr(31), lower(l.lot_code), l.valid_from)
            when d.kind = 'plantings' then lower(s.lot_code)
            when d.kind = 'people' then lower(p.name)
            -- without lot, day and pot a line says nothing about which other line it corrects
            when
                d.kind = 'readings' and d.numbers_pots
                and g.lot_code is not null and g.sampled_on is not null and g.pot is not null
                then concat_ws(chr(31), lower(g.lot_code), g.sampled_on, g.purpose, lower(g.pot))
        end as line_key
    from texts as d
    left join lot_lines as l on d.file_id = l.file_id and d.record_no = l.record_no
    left join reading_lines as g on d.file_id = g.file_id and d.record_no = g.record_no
    left join planting_lines as s on d.file_id = s.file_id and d.record_no = s.record_no
    left join people_lines as p on d.file_id = p.file_id and d.record_no = p.record_no
),

placed as (
    select
        *,
        first_value(file_id) over same_line as line_file_id,
        first_value(record_no) over same_line as line_record_no
    from keyed
    window
        same_line as (
            partition by site_id, kind, export_no, layout, text, nth
            order by is_read_as_today desc, file_id asc
        )
),

appearances as (
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
),

-- One number tells which of two appearances came later: that of the newer file, in one file the lower one.
seen as (
    select
        line_file_id,
        line_record_no,
        max(file_id) as last_file_id,
        max(file_id::bigint * 10000000000 + record_no) as last_seen
    from appearances
    group by line_file_id, line_record_no
),

lines as (
    select
        p.*,
        s.last_file_id,
        n.file_id as newest_file_id,
        -- equal texts of one key are one version, however often a file holds them
        max(s.last_seen) over (
            partition by p.site_id, p.kind, p.line_key, p.export_no, p.layout, p.text
        ) as text_last_seen
    from placed as p
    inner join seen as s on p.file_id = s.line_file_id and p.record_no = s.line_record_no
    inner join newest_files as n on p.site_id = n.site_id and p.kind = n.kind and p.export_no = n.export_no
),

ruled as (
    select
        *,
        max(text_last_seen) over same_key as key_last_seen,
        arg_max(file_id, if(nth = 1, text_last_seen, null)) over same_key as ruling_file_id,
        arg_max(record_no, if(nth = 1, text_last_seen, null)) over same_key as ruling_record_no
    from lines
    window same_key as (partition by site_id, kind, line_key)
),

judged as (
    select
        *,
        case
            when line_key is not null and nth > 1 then 'repeated'
            when line_key is not null and text_last_seen < key_last_seen then 'superseded'
            when mode = 'cumulative' and last_file_id < newest_file_id then 'withdrawn'
            else 'current'
        end as version
    from ruled
)

select
    a.file_id,
    a.record_no,
    j.site_id,
    j.kind,
    j.export_no,
    j.line_key,
    if(a.file_id = j.file_id and a.record_no = j.record_no, j.version, 'repeated') as version,
    j.file_id as line_file_id,
    j.record_no as line_record_no,
    if(j.version = 'superseded', j.ruling_file_id, null) as ruling_file_id,
    if(j.version = 'superseded', j.ruling_record_no, null) as ruling_record_no
from appearances as a
inner join judged as j on a.line_file_id = j.file_id and a.line_record_no = j.record_no
