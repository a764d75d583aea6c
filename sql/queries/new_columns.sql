-- Columns that no field maps, in the night in which an export has them for the first time.
-- grain: one export of one site. key: site_id, kind, export_no
with
seen as (
    select
        site_id,
        kind,
        export_no,
        night_no,
        name as file,
        file_id,
        unnest(from_json(extra_columns, '["varchar"]')) as title
    from files
    where problem is null and extra_columns is not null
),

firsts as (
    select
        site_id,
        kind,
        export_no,
        title,
        min(night_no) as night_no,
        arg_min(file, file_id) as file,
        min(file_id) as file_id
    from seen
    group by site_id, kind, export_no, title
)

select
    s.site_id,
    s.kind,
    s.export_no,
    arg_min(s.file, s.file_id) as file,
    list(s.title order by s.file_id, s.title) as titles
from firsts as s
inner join run as t on s.night_no = t.night_no
group by s.site_id, s.kind, s.export_no
order by s.site_id, s.kind, s.export_no
