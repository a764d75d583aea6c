-- Takes the next letter that is due under a lease; no two processes can take the same one.
update letters
set
    state = 'sending',
    changed_at = $now,
    attempts = attempts + 1,
    holder = $holder,
    lease_until = $lease_until,
    handing_over_at = null
where
    letter_id = (
        select letter_id
        from letters
        where state in ('pending', 'retry') and due_at <= $now and letter_id > $after
        order by letter_id
        limit 1
    )
    and state in ('pending', 'retry')
returning letter_id, recipient, message_id, attempts, message
