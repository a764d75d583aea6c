-- What the sampling programme needs of the settings. Emptied and filled each night before the models are built.

alter table policy add column symptoms_within_days integer;
alter table policy add column affected_pots integer;
alter table policy add column minutes_per_pot decimal(6, 2);

-- grain: one crop that is read in pairs around a feeding. key: site_id, valid_from, crop_key
create table policy_feed_pair_crops (
    site_id varchar not null,
    valid_from date not null,
    valid_to date not null,
    crop_key varchar not null
);

-- grain: one weekday, or one day, on which a site does not sample. key: site_id, weekday, closed_on
-- weekday: 1 Monday to 7 Sunday (ISO 8601); one of weekday and closed_on is null
create table closed_days (
    site_id varchar not null,
    weekday integer,
    closed_on date
);

-- grain: one weekday, or one day, on which periodically fed lots get their feed. key: site_id, house_key, lot_key, weekday, fed_on
-- house_key and lot_key null: all of the site. weekday as in closed_days
create table feed_days (
    site_id varchar not null,
    house_key varchar,
    lot_key varchar,
    weekday integer,
    fed_on date
);

-- grain: one bench of a site's map. key: site_id, house_key, bench_key. walk_no: its place in the walk, from 1
-- bench_rows are counted from the front; both null where only the number of places is known
create table benches (
    site_id varchar not null,
    walk_no integer not null,
    house varchar not null,
    house_key varchar not null,
    bench varchar not null,
    bench_key varchar not null,
    bench_rows integer,
    bench_columns integer,
    places integer not null
);
