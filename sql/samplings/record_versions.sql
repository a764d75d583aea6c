-- Which version of a line rules: the first appearance of a text stays, later ones repeat it, newer texts supersede it.
-- grain: one data record of a file that could be read as a whole. key: file_id, record_no
-- inputs: files, records, reading_lines, lot_lines, planting_lines, people_lines
-- rule (ours): the k-th equal text of a file matches the k-th of another file of the same export; a line that the newest
-- file of a cumulative export no longer holds was withdrawn; where lines have a key, the version seen last rules.
with
data_records as (
    select
        f.file_id,
        r.record_no,
        f.site_id,
        f.kind,
        f.export_no,
        f.mode,
        f.numbers_pots,
        r.text,
        row_number() over (partition by r.file_id, r.text order by r.record_no) as occurrence
    from records as r
    inner join files as f on r.file_id = f.file_id
    where r.kind = 'data' and f.problem is null
),

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

appearances as (
    select
        d.*,
        row_number() over same_line as appearance,
        max(d.file_id) over (partition by d.site_id, d.kind, d.export_no, d.text, d.occurrence) as last_file_id,
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
    from data_records as d
    left join lot_lines as l on d.file_id = l.file_id and d.record_no = l.record_no
    left join reading_lines as g on d.file_id = g.file_id and d.record_no = g.record_no
    left join planting_lines as s on d.file_id = s.file_id and d.record_no = s.record_no
    left join people_lines as p on d.file_id = p.file_id and d.record_no = p.record_no
    window same_line as (partition by d.site_id, d.kind, d.export_no, d.text, d.occurrence order by d.file_id)
),

ruling as (
    select
        a.*,
        n.file_id as newest_file_id,
        case
            when a.line_key is not null
                then first_value(a.text) over (
                    partition by a.site_id, a.kind, a.line_key
                    order by a.file_id desc, a.record_no desc
                )
        end as ruling_text
    from appearances as a
    inner join newest_files as n
        on a.site_id = n.site_id and a.kind = n.kind and a.export_no = n.export_no
)

select
    file_id,
    record_no,
    site_id,
    kind,
    export_no,
    line_key,
    case
        when appearance > 1 then 'repeated'
        when line_key is not null and occurrence > 1 then 'repeated'
        when line_key is not null and ruling_text <> text then 'superseded'
        when mode = 'cumulative' and last_file_id < newest_file_id then 'withdrawn'
        else 'current'
    end as version
from ruling
