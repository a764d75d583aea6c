-- What the settings and the published tables say tonight. Emptied and filled each night before the models are built.

-- grain: the run itself, one row
create table run (
    night_no integer not null,
    as_of date not null
);

-- grain: one site. key: site_id
create table sites (
    site_id varchar primary key,
    name varchar not null,
    has_calibrations boolean not null,
    first_night date
);

-- grain: one site and one span of days on which the same policy is in force. key: site_id, valid_from
-- valid_to is exclusive
create table policy (
    site_id varchar not null,
    valid_from date not null,
    valid_to date not null,
    summary_ph_sd decimal(6, 3) not null,
    summary_ec_sd_ms_cm decimal(9, 4) not null,
    ec_alpha_per_c double not null,
    volume_warn_share decimal(6, 4) not null,
    volume_exclude_over decimal(6, 4) not null,
    volume_exclude_under decimal(6, 4) not null,
    pour_warn_share decimal(6, 4) not null,
    unequal_volume_share decimal(6, 4) not null,
    uneven_ph_sd double not null,
    uneven_ec_sd_ms_cm double not null,
    clear_margin_ph decimal(6, 3) not null,
    clear_margin_ec_share decimal(6, 4) not null,
    ph_action_high_iron_inefficient decimal(6, 3) not null,
    ph_action_low_iron_efficient decimal(6, 3) not null,
    ph_action_low_other decimal(6, 3) not null,
    ec_act_ms_cm decimal(9, 4) not null,
    ec_low_act_share decimal(6, 4) not null,
    act_in_a_row integer not null,
    first_within_days integer not null,
    problem_interval_days integer not null,
    after_out_interval_days integer not null,
    grace_days integer not null,
    silent_after_nights integer not null,
    slope_low_pct decimal(6, 2) not null,
    slope_high_pct decimal(6, 2) not null,
    slope_warn_low_pct decimal(6, 2) not null,
    slope_warn_high_pct decimal(6, 2) not null,
    offset_limit_mv decimal(6, 1) not null,
    ec_standard_share decimal(6, 4) not null,
    establishing_days integer not null,
    finishing_days integer not null,
    step_ph decimal(6, 3) not null,
    step_ec_ms_cm decimal(9, 4) not null,
    quality_days integer not null,
    affected_within_days integer not null
);

-- grain: one container class in one span of policy. key: site_id, valid_from, container_class
create table policy_containers (
    site_id varchar not null,
    valid_from date not null,
    valid_to date not null,
    container_class varchar not null,
    pour_ml decimal(8, 2) not null,
    leachate_low_ml decimal(8, 2) not null,
    leachate_high_ml decimal(8, 2) not null,
    min_usable_pots integer not null,
    routine_interval_days integer not null,
    drain_low_min decimal(6, 1) not null,
    drain_high_min decimal(6, 1) not null
);

-- grain: one crop that the policy wants watched closely. key: site_id, valid_from, crop_key
create table policy_problem_crops (
    site_id varchar not null,
    valid_from date not null,
    valid_to date not null,
    crop_key varchar not null
);

-- grain: one target that a group or site set itself. key: site_id, valid_from, crop_key, quantity
create table own_targets (
    site_id varchar not null,
    valid_from date not null,
    valid_to date not null,
    crop_key varchar not null,
    quantity varchar not null,
    low decimal(9, 4) not null,
    high decimal(9, 4) not null,
    basis varchar not null,
    note varchar
);

-- grain: the published row that the policy of a span chooses for a crop and quantity. key: site_id, valid_from, crop_key, quantity
create table chosen_targets (
    site_id varchar not null,
    valid_from date not null,
    crop_key varchar not null,
    quantity varchar not null,
    low decimal(9, 4) not null,
    high decimal(9, 4) not null,
    source varchar not null,
    source_url varchar,
    how_known varchar not null
);

-- grain: every published range. key: crop_key, quantity, row_no
create table published_ranges (
    crop_key varchar not null,
    quantity varchar not null,
    row_no integer not null,
    low decimal(9, 4) not null,
    high decimal(9, 4) not null,
    source varchar not null,
    how_known varchar not null
);

-- grain: iron group of a crop, where a source names one. key: crop_key
create table crop_groups (
    crop_key varchar primary key,
    ph_group varchar
);

-- grain: the range for a crop that no source lists. key: quantity
create table general_targets (
    quantity varchar primary key,
    low decimal(9, 4) not null,
    high decimal(9, 4) not null,
    source varchar not null,
    source_url varchar,
    how_known varchar not null
);

-- grain: where the published EC band "very high" begins by extraction method. key: method
-- is_included: the edge itself belongs to the band
create table very_high_edges (
    method varchar primary key,
    ec_ms_cm decimal(9, 4) not null,
    is_included boolean not null
);

-- grain: Student's t, two-sided, made by SciPy. key: df
create table t_quantiles (
    df integer primary key,
    t double not null
);
