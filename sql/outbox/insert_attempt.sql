-- Keeps what an attempt came to.
insert into attempts (letter_id, ended_at, outcome, code, remark)
values ($letter_id, $now, $outcome, $code, $remark)
