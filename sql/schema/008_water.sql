-- What was poured onto the pots, how long treatments take, and checks of water and feed.
-- Units: EC mS/cm (of the water as read; at 25 °C in the tables below), alkalinity mg/L CaCO3, days.

-- poured_with: distilled, deionised, rain, tap, other
alter table reading_lines add column poured_with varchar;
alter table reading_lines add column poured_ec_ms_cm decimal(9, 4);

alter table policy add column wait_leaching_days integer;
alter table policy add column wait_bicarbonate_days integer;
alter table policy add column wait_feed_change_days integer;
alter table policy add column wait_lime_drench_days integer;
alter table policy add column wait_other_days integer;
alter table policy add column before_treatment_days integer;
alter table policy add column water_check_days integer;
alter table policy add column feed_tolerance_share decimal(6, 3);

-- What is worked out on whole columns outside SQL each night, as in 007.

-- grain: one container class that a site with a check of its water grows. key: site_id, container_class
-- word: low, in_range, high, acid (above the figure from which the source treats water with acid)
create table judged_waters (
    site_id varchar not null,
    container_class varchar not null,
    checked_on date not null,
    file_id integer not null,
    record_no integer not null,
    alkalinity_mg_l double not null,
    low double,
    high double,
    acid_above double,
    source varchar,
    word varchar
);

-- grain: one hose end, by its injector or house. key: site_id, hose_key
-- expected_ec_ms_cm: what the feed adds where it is set right; word: as_set, weak, strong; reason: why there is none
create table judged_feeds (
    site_id varchar not null,
    hose_key varchar not null,
    checked_on date not null,
    file_id integer not null,
    record_no integer not null,
    water_on date,
    water_file_id integer,
    water_record_no integer,
    hose_ec_ms_cm double not null,
    water_ec_ms_cm double,
    target_ec_ms_cm double,
    expected_ec_ms_cm double,
    added_ec_ms_cm double,
    share double,
    word varchar,
    reason varchar
);
