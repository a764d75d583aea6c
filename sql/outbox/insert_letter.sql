-- Stores an intention; one that is there already stays as it is. Answers with its number where it is new.
insert into letters (
    report, site, period, recipient, content, message_id, subject, state, created_at, changed_at, due_at,
    size_bytes, message, facts
)
values (
    $report, $site, $period, $recipient, $content, $message_id, $subject, 'pending', $now, $now, $now,
    $size_bytes, $message, $facts
)
on conflict (report, site, period, recipient, content) do nothing
returning letter_id
