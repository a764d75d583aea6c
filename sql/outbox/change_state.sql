-- What somebody decided about a letter: resend (pending) or cancel.
update letters
set state = $state, changed_at = $now, due_at = $now, attempts = $attempts, remark = $remark
where letter_id = $letter_id and state = $state_before
