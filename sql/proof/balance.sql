-- Lines and records of each file: as the reader counted them, by record, by fate, and by the fates that stand in the history.
-- grain: one file. key: file_id
with
by_record as (
    select
        file_id,
        count(*) as records,
        sum(line_to - line_from + 1)::bigint as lines
    from records
    group by file_id
),

by_fate as (
    select
        file_id,
        count(*) as records,
        sum(lines)::bigint as lines
    from record_fates
    where fate in ('accepted', 'held', 'repeated', 'superseded', 'withdrawn', 'not_data')
    group by file_id
),

standing as (
    select
        file_id,
        count(*) as records
    from fate_history
    where until_night is null
    group by file_id
)

select
    f.file_id,
    f.site_id,
    f.kind,
    f.export_no,
    f.name,
    f.sha256,
    f.lines,
    coalesce(r.records, 0) as records,
    coalesce(r.lines, 0) as record_lines,
    coalesce(t.records, 0) as fate_records,
    coalesce(t.lines, 0) as fate_lines,
    coalesce(s.records, 0) as standing_fates
from files as f
left join by_record as r on f.file_id = r.file_id
left join by_fate as t on f.file_id = t.file_id
left join standing as s on f.file_id = s.file_id
order by f.file_id
