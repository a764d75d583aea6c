-- Letters: every message that was ever meant to go out, stored before anything is sent. SQLite, instants in UTC.
-- grain: one message to one recipient. key: report, site, period, recipient, content
create table letters (
    letter_id integer primary key,
    report text not null,
    site text not null,
    period text not null,
    recipient text not null,
    content text not null,
    message_id text not null unique,
    subject text not null,
    state text not null check (
        state in ('pending', 'sending', 'sent', 'retry', 'failed', 'unknown', 'cancelled', 'replaced')
    ),
    created_at text not null,
    changed_at text not null,
    due_at text not null,
    attempts integer not null default 0,
    holder text,
    lease_until text,
    handing_over_at text,
    code integer,
    remark text not null default '',
    size_bytes integer not null,
    message blob,
    facts text not null default '',
    unique (report, site, period, recipient, content)
)
