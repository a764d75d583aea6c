-- Files as they were read, for finding those whose settings have changed since.
select
    file_id,
    night_no,
    received_on,
    site_id,
    kind,
    export_no,
    name,
    sha256,
    size_bytes,
    modified_at,
    reading_digest,
    problem,
    header,
    layout
from files
order by file_id
