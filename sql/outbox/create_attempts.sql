-- Attempts: what each try to send a letter came to, oldest first.
-- grain: one attempt. key: attempt_id
create table attempts (
    attempt_id integer primary key,
    letter_id integer not null references letters (letter_id),
    ended_at text not null,
    outcome text not null,
    code integer,
    remark text not null
)
