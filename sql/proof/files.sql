-- Every file as it was received.
select
    file_id,
    night_no,
    received_on,
    site_id,
    kind,
    name,
    sha256,
    size_bytes
from files
order by file_id
