-- Which version of a line rules: the first appearance of a text stays, later ones repeat it, newer texts supersede it.
-- grain: one data record of a file that could be read as a whole. key: file_id, record_no
-- inputs: files, records, line_appearances, repeated_pots, left_lines, changed_lines, reading_lines, lot_lines, planting_lines, people_lines
-- rule (ours): a line that the newest file of a cumulative export no longer holds was withdrawn; where lines have a key, the
-- version seen last rules; a line that never counted and left its file is no version any more; without a key one that was
-- changed where it stood is superseded by what stands there now.
-- line_file_id, line_record_no: where the line stays; ruling_*: the line that superseded it, or the file alone
with
newest_files as (
    select
        site_id,
        kind,
        export_no,
        max(file_id) as file_id
    from files
    where problem is null
    group by site_id, kind, export_no
),

-- One number tells which of two appearances came later: that of the newer file, in one file the lower one.
seen as (
    select
        line_file_id as file_id,
        line_record_no as record_no,
        max(file_id) as last_file_id,
        max(file_id::bigint * 10000000000 + record_no) as last_seen
    from line_appearances
    group by line_file_id, line_record_no
),

keyed as (
    select
        s.file_id,
        s.record_no,
        s.last_file_id,
        f.site_id,
        f.kind,
        f.export_no,
        f.mode,
        f.layout,
        r.text,
        r.nth,
        n.file_id as newest_file_id,
        e.ruling_file_id as left_to_file_id,
        e.ruling_record_no as left_to_record_no,
        e.line_file_id is not null as has_left,
        c.ruling_file_id as changed_to_file_id,
        c.ruling_record_no as changed_to_record_no,
        if(e.line_file_id is null, s.last_seen, null) as last_seen,
        case
            -- lines of one lot that hold from different days are facts side by side
            when f.kind = 'lots' and l.lot_code is not null
                then concat_ws(chr(31), lower(l.lot_code), l.valid_from)
            when f.kind = 'plantings' then lower(t.lot_code)
            when f.kind = 'people' then lower(p.name)
            -- without lot, day and pot a line says nothing about which other line it corrects
            when
                f.kind = 'readings' and coalesce(f.numbers_pots, m.file_id is null)
                and g.lot_code is not null and g.sampled_on is not null and g.pot is not null
                then concat_ws(chr(31), lower(g.lot_code), g.sampled_on, g.purpose, lower(g.pot))
        end as line_key
    from seen as s
    inner join records as r on s.file_id = r.file_id and s.record_no = r.record_no
    inner join files as f on s.file_id = f.file_id
    inner join newest_files as n on f.site_id = n.site_id and f.kind = n.kind and f.export_no = n.export_no
    left join left_lines as e on s.file_id = e.line_file_id and s.record_no = e.line_record_no
    left join changed_lines as c on s.file_id = c.line_file_id and s.record_no = c.line_record_no
    left join lot_lines as l on s.file_id = l.file_id and s.record_no = l.record_no
    left join reading_lines as g on s.file_id = g.file_id and s.record_no = g.record_no
    left join planting_lines as t on s.file_id = t.file_id and s.record_no = t.record_no
    left join people_lines as p on s.file_id = p.file_id and s.record_no = p.record_no
    left join repeated_pots as m
        on
            s.file_id = m.file_id
            and lower(g.lot_code) = m.lot_key
            and g.sampled_on = m.sampled_on
            and g.purpose = m.purpose
),

lines as (
    select
        *,
        -- equal texts of one key are one version, however often a file holds them
        max(last_seen) over (
            partition by site_id, kind, line_key, export_no, layout, text
        ) as text_last_seen
    from keyed
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
            when has_left then 'superseded'
            when line_key is not null and text_last_seen < key_last_seen then 'superseded'
            when mode = 'cumulative' and last_file_id < newest_file_id
                then if(line_key is null and changed_to_file_id is not null, 'superseded', 'withdrawn')
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
    case
        when j.has_left then j.left_to_file_id
        when j.version = 'superseded' and j.line_key is null then j.changed_to_file_id
        when j.version = 'superseded' then j.ruling_file_id
    end as ruling_file_id,
    case
        when j.has_left then j.left_to_record_no
        when j.version = 'superseded' and j.line_key is null then j.changed_to_record_no
        when j.version = 'superseded' then j.ruling_record_no
    end as ruling_record_no
from line_appearances as a
inner join judged as j on a.line_file_id = j.file_id and a.line_record_no = j.record_no
