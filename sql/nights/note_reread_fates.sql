-- Lines of files that tonight read again whose fate or cause is another one now.
insert into reread_fates by name
with
now as (
    select
        r.file_id,
        r.line_from,
        f.fate,
        f.cause
    from records as r
    inner join record_fates as f on r.file_id = f.file_id and r.record_no = f.record_no
    where r.file_id in (select a.file_id from rereads as a inner join run as t on a.night_no = t.night_no)
)

select
    t.night_no,
    coalesce(b.file_id, n.file_id) as file_id,
    coalesce(b.line_from, n.line_from) as line_from,
    b.fate as fate_before,
    b.cause as cause_before,
    n.fate as fate_after,
    n.cause as cause_after
from lines_before as b
full outer join now as n on b.file_id = n.file_id and b.line_from = n.line_from
cross join run as t
where b.fate is distinct from n.fate or b.cause is distinct from n.cause
order by coalesce(b.file_id, n.file_id), coalesce(b.line_from, n.line_from)
