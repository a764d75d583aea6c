-- In which order files rule over each other: as they came, but a whole history that is older than one that came before it goes
-- before that one.
-- grain: one file. key: file_id
-- inputs: files, file_days
-- rule (ours): of two cumulative files of one export that came in different nights the one with the later day in its name is
-- the newer, and where the days are the same or one of them has none, the one that was changed later. A day in a name or a time of
-- change that lies after the day of receipt says nothing: such a clock or name is wrong.
-- order_no: the file with the higher one rules. newer_file_id: the first newer one that had come before; null where the file came in order
with
dated as (
    select
        f.file_id,
        f.night_no,
        f.site_id,
        f.kind,
        f.export_no,
        -- least() passes over what is null
        if(d.named_day is null, null, least(d.named_day, f.received_on)) as named_day,
        if(f.modified_at::date <= f.received_on, f.modified_at, null) as changed_at
    from files as f
    left join file_days as d on f.file_id = d.file_id
    where f.mode = 'cumulative' and f.problem is null
),

late as (
    select
        l.file_id,
        l.named_day,
        l.changed_at,
        min(n.file_id) as newer_file_id
    from dated as l
    inner join dated as n
        on
            l.site_id = n.site_id
            and l.kind = n.kind
            and l.export_no = n.export_no
            and l.night_no > n.night_no
    where if(l.named_day <> n.named_day, l.named_day < n.named_day, l.changed_at < n.changed_at)
    group by l.file_id, l.named_day, l.changed_at
)

select
    f.file_id,
    l.newer_file_id,
    row_number() over (
        order by coalesce(l.newer_file_id, f.file_id), l.file_id is null, l.named_day, l.changed_at, f.file_id
    ) as order_no
from files as f
left join late as l on f.file_id = l.file_id
