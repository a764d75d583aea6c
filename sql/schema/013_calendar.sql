-- Calendars: what they show tonight, and every version of an event that was made known.

-- grain: one event of tonight's calendars. Emptied and filled each night. key: uid
-- starts_at: by the clock of time_zone. description: one line a sampling. digest: equal for events that read the same
create table calendar_events (
    site_id varchar not null,
    uid varchar not null,
    starts_at timestamp not null,
    time_zone varchar not null,
    minutes integer not null,
    location varchar not null,
    summary varchar not null,
    description varchar not null,
    digest varchar not null
);

-- grain: one version of one event, as it was made known from a night on. key: uid, sequence
-- status: confirmed or cancelled. until_night: the first night that made a newer one known; null while there is none
create table calendar_history (
    site_id varchar not null,
    uid varchar not null,
    sequence integer not null,
    status varchar not null,
    starts_at timestamp not null,
    time_zone varchar not null,
    minutes integer not null,
    location varchar not null,
    summary varchar not null,
    digest varchar not null,
    from_night integer not null,
    until_night integer
);
