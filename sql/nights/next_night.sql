-- Number of the night that is about to run.
select coalesce(max(night_no), 0) + 1 as night_no
from nights
