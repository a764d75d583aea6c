-- Every night that was run to its end.
select
    night_no,
    as_of,
    leachbook_version,
    facts_digest,
    new_files,
    new_records
from nights
order by night_no
