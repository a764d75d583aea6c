-- Files that arrived on the as-of date.
-- grain: one file. key: file_id
select
    f.site_id,
    f.file_id,
    f.name,
    f.kind,
    f.mode,
    f.received_on,
    f.lines,
    (
        select count(*)
        from records as r
        where r.file_id = f.file_id
    ) as records,
    case when v.file_id is null then f.problem end as problem,
    f.problem_sentence,
    f.problem_mend
from files as f
cross join run as t
left join replaced_files as v on f.file_id = v.file_id
where f.received_on = t.as_of
order by f.file_id
