-- Every physical line of a file lies in exactly one record, and each record has one fate.
with r as (
    select file_id, sum(line_to - line_from + 1) as lines
    from records
    group by file_id
)

select
    f.file_id,
    f.name,
    printf('file has %d lines, its records hold %d', f.lines, coalesce(r.lines, 0)) as remark
from files as f
left join r on f.file_id = r.file_id
where f.lines <> coalesce(r.lines, 0)
