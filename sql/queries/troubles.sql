-- What lay in the drop folders tonight and could not be taken in.
-- grain: one thing. key: site_id, name
select
    t.site_id,
    t.name,
    t.code,
    t.sentence,
    t.mend
from file_troubles as t
inner join run as r on t.night_no = r.night_no
order by t.site_id, t.name
