-- What one night made known of calendar events: what the archive keeps of it.
-- grain: one version. key: uid
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
where from_night = $night_no
order by site_id, uid
