-- The newest versions of calendar events that tonight can go on from: of every event that stands, and of those that are wanted
-- again after they were cancelled.
-- grain: one event. key: uid
-- inputs: calendar_history, calendar_events
select
    h.site_id,
    h.uid,
    h.sequence,
    h.status,
    h.starts_at,
    h.time_zone,
    h.minutes,
    h.location,
    h.summary,
    h.digest
from calendar_history as h
where
    h.until_night is null
    and (h.status = 'confirmed' or exists (select 1 from calendar_events as e where e.uid = h.uid))
order by h.site_id, h.uid
