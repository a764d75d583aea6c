-- The newest version of each calendar event that was ever made known.
-- grain: one event. key: uid
-- inputs: calendar_history
select
    site_id,
    uid,
    sequence,
    status,
    starts_at,
    time_zone,
    minutes,
    location,
    summary,
    digest
from calendar_history
where until_night is null
order by site_id, uid
