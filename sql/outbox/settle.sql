-- What becomes of a letter whose sender died.
update letters
set state = $state, changed_at = $now, due_at = $now, holder = null, lease_until = null, remark = $remark
where letter_id = $letter_id and state = 'sending' and holder = $holder
