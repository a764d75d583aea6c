-- Attempts to send a letter, oldest first.
select ended_at, outcome, code, remark
from attempts
where letter_id = $letter_id
order by attempt_id
