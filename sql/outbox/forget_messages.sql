-- Lets the messages go of letters that were done with before a day: the letters themselves stay.
update letters
set message = null
where message is not null and changed_at < $before and state in ('sent', 'cancelled', 'replaced')
