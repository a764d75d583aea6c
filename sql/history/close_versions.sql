-- Ends the versions of calendar events of which tonight made a newer one known.
update calendar_history
set until_night = t.night_no
from run as t
where
    calendar_history.until_night is null
    and calendar_history.from_night < t.night_no
    and exists (
        select 1
        from calendar_history as n
        where n.uid = calendar_history.uid and n.from_night = t.night_no
    )
