-- What the sites' calendar files hold tonight: every event that stands, and those that were cancelled in the last 60 days.
-- grain: one event. key: uid
-- inputs: calendar_history, calendar_events, nights, run
-- rule: 60 days (house default), so that whoever imports a file now and then learns of what is off. changed_on: the day of the
-- night that made the version known. description is null for what is cancelled.
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
    e.description,
    n.as_of as changed_on
from calendar_history as h
cross join run as t
inner join nights as n on h.from_night = n.night_no
left join calendar_events as e on h.uid = e.uid and h.status = 'confirmed'
where h.until_night is null and (h.status = 'confirmed' or n.as_of > t.as_of - 60)
order by h.site_id, h.starts_at, h.uid
