-- Files whose lines wait for nothing more, because what they hold came in another file.
-- grain: one such file. key: file_id
-- inputs: files, record_problems, records
-- rule (ours): a file that was held whole gives way to a newer one of its name that can be read; a sheet that was dropped at
-- another site gives way once it came to its own. The sheet's exports count 0 and down.
select f.file_id
from files as f
where
    f.problem is not null
    and exists (
        select 1
        from files as n
        where
            n.site_id = f.site_id
            and n.kind = f.kind
            and n.name = f.name
            and n.file_id > f.file_id
            and n.problem is null
    )
union
select f.file_id
from files as f
inner join files as n
    on f.sha256 = n.sha256 and f.export_no = n.export_no and f.site_id <> n.site_id and n.problem is null
where
    f.export_no < 1
    and f.problem is null
    -- every line of it is of another site
    and not exists (
        select 1
        from records as r
        left join record_problems as p
            on
                coalesce(r.same_as_file_id, r.file_id) = p.file_id
                and coalesce(r.same_as_record_no, r.record_no) = p.record_no
                and p.code = 'other_site'
        where r.file_id = f.file_id and r.kind = 'data' and p.file_id is null
    )
    and not exists (
        select 1
        from records as r
        inner join record_problems as p
            on
                coalesce(r.same_as_file_id, r.file_id) = p.file_id
                and coalesce(r.same_as_record_no, r.record_no) = p.record_no
                and p.code = 'other_site'
        where r.file_id = n.file_id
    )
