-- Files that need no work again: under each name the content that was taken last. A file that goes back to what it
-- once was has changed, and is taken again.
select
    site_id,
    kind,
    export_no,
    name,
    sha256
from files
qualify row_number() over (partition by site_id, kind, export_no, name order by file_id desc) = 1
