-- What an attempt came to. One that was taken for dead meanwhile is put right by whoever made it.
update letters
set
    state = $state,
    changed_at = $now,
    due_at = $due_at,
    holder = null,
    lease_until = null,
    code = $code,
    remark = $remark
where letter_id = $letter_id and (holder = $holder or state = 'unknown')
