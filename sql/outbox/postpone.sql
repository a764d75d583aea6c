-- A letter whose attempt failed before it was its turn: no server took any.
update letters
set state = $state, changed_at = $now, due_at = $due_at, attempts = attempts + 1, code = $code, remark = $remark
where letter_id = $letter_id and state in ('pending', 'retry')
