-- Files that need no work again.
select
    site_id,
    kind,
    export_no,
    name,
    sha256
from files
