-- Files that were held whole and came again under the same name in a form that can be read.
-- grain: one such file. key: file_id
-- inputs: files
-- rule (ours): the newer version of a file takes the place of one that could not be read, whose lines wait for nothing more.
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
