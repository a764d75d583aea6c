-- Letters that somebody is sending, with who and until when.
select letter_id, message_id, attempts, holder, lease_until, handing_over_at
from letters
where state = 'sending'
order by letter_id
