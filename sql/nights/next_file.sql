-- Number of the next file to be loaded.
select coalesce(max(file_id), 0) + 1 as file_id
from files
