-- What is worked out on whole columns outside SQL each night: emptied and filled before the judgement that reads it.
-- Units: pH, or mS/cm at 25 °C; slopes a week. Figures are null where numbers are too few, and `reason` says why.

alter table policy add column outlier_ph decimal(6, 3);
alter table policy add column outlier_ec_ms_cm decimal(9, 4);
alter table policy add column precision_ph decimal(6, 3);
alter table policy add column precision_ec_ms_cm decimal(9, 4);
alter table policy add column trend_samplings integer;

-- grain: one quantity of one sampling. key: site_id, lot_key, sampled_on, purpose, quantity
create table outlier_figures (
    site_id varchar not null,
    lot_key varchar not null,
    sampled_on date not null,
    purpose varchar not null,
    quantity varchar not null,
    n_outliers integer,
    mean_without double,
    sd_without double,
    ci_low_without double,
    ci_high_without double,
    is_grubbs_outlier boolean,
    reason varchar
);

-- grain: one pot that lies apart. key: file_id, record_no, quantity
create table outlier_pots (
    site_id varchar not null,
    lot_key varchar not null,
    sampled_on date not null,
    purpose varchar not null,
    quantity varchar not null,
    file_id integer not null,
    record_no integer not null,
    value double not null,
    modified_z double not null,
    score_by varchar not null
);

-- grain: one quantity of one sampling whose SD was measured. key: site_id, lot_key, sampled_on, purpose, quantity
create table pots_needed (
    site_id varchar not null,
    lot_key varchar not null,
    sampled_on date not null,
    purpose varchar not null,
    quantity varchar not null,
    pots_needed bigint
);

-- grain: one quantity of one standing lot that has a counting sampling. key: site_id, lot_key, quantity
create table trends (
    site_id varchar not null,
    lot_key varchar not null,
    quantity varchar not null,
    n integer not null,
    first_day date,
    last_day date,
    slope_per_week double,
    slope_low double,
    slope_high double,
    level_reached double,
    p double,
    is_trend boolean,
    heads_for varchar,
    earliest_on date,
    likely_on date,
    latest_on date,
    is_within_two_samplings boolean,
    reason varchar
);

-- grain: one quantity of one sampling on the lot's own chart. key: site_id, lot_key, quantity, sampled_on
create table drift_points (
    site_id varchar not null,
    lot_key varchar not null,
    quantity varchar not null,
    segment integer not null,
    sampled_on date not null,
    value double not null,
    nth integer not null,
    centre double,
    sigma double,
    ewma double,
    ewma_low double,
    ewma_high double,
    ewma_side varchar,
    moving_range double,
    moving_range_high double,
    is_moving_range_high boolean,
    rules varchar[],
    reason varchar
);

-- grain: one quantity of two samplings of one lot held against each other. key: site_id, lot_key, comparison, quantity
create table contrasts (
    site_id varchar not null,
    lot_key varchar not null,
    comparison varchar not null,
    quantity varchar not null,
    first_on date not null,
    second_on date not null,
    second_purpose varchar not null,
    n_first integer not null,
    n_second integer not null,
    mean_first double,
    mean_second double,
    difference double,
    ci_low double,
    ci_high double,
    p double,
    hedges_g double,
    word varchar not null,
    reason varchar
);

-- grain: one quantity of one crop in one container class at two sites. key: crop_key, container_class, quantity, first_site, second_site
create table crop_contrasts (
    crop_key varchar not null,
    container_class varchar not null,
    quantity varchar not null,
    first_site varchar not null,
    second_site varchar not null,
    n_first integer not null,
    n_second integer not null,
    mean_first double,
    mean_second double,
    difference double,
    ci_low double,
    ci_high double,
    p double,
    hedges_g double,
    word varchar not null,
    reason varchar
);
