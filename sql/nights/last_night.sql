-- The newest night that was run to its end.
select
    night_no,
    as_of,
    leachbook_version,
    settings_digest,
    facts_digest,
    new_files,
    new_records
from nights
where facts_digest is not null
order by night_no desc
limit 1
