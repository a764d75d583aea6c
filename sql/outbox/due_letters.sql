-- Letters that cannot be tried because no server takes any: their numbers and attempts so far.
select letter_id, attempts
from letters
where state in ('pending', 'retry') and due_at <= $now and letter_id > $after
order by letter_id
