-- From here on a death leaves it open whether the server took the letter.
update letters
set handing_over_at = $now
where letter_id = $letter_id and holder = $holder and state = 'sending'
