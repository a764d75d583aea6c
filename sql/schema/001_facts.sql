-- What the sites sent, kept as it came. Nothing here is ever updated but the end of a fate and of a night.
-- Units: EC mS/cm (at 25 °C only where ec_compensated), volumes mL, temperature °C, dates ISO 8601.

-- grain: one night that was run to its end. key: night_no
create table nights (
    night_no integer primary key,
    as_of date not null,
    leachbook_version varchar not null,
    settings_digest varchar not null,
    facts_digest varchar,
    new_files integer not null,
    new_records integer not null
);

-- grain: one file as received. key: file_id, which grows in the order in which files rule over each other
create table files (
    file_id integer primary key,
    night_no integer not null,
    site_id varchar not null,
    kind varchar not null,
    export_no integer not null,
    mode varchar not null,
    numbers_pots boolean not null,
    name varchar not null,
    sha256 varchar not null,
    size_bytes bigint not null,
    modified_at timestamp not null,
    received_on date not null,
    lines integer not null,
    problem varchar,
    problem_sentence varchar,
    problem_mend varchar,
    -- what of the settings the reading hung on; where that has changed, the file is read again
    reading_digest varchar not null
);

-- grain: one physical record of a file. key: file_id, record_no
-- kind: data, or why it is not data (header, title, blank, total, comment)
create table records (
    file_id integer not null,
    record_no integer not null,
    line_from integer not null,
    line_to integer not null,
    kind varchar not null,
    text varchar not null,
    cells varchar
);

-- grain: one thing that keeps one record out, known from the record alone. key: file_id, record_no, problem_no
create table record_problems (
    file_id integer not null,
    record_no integer not null,
    problem_no integer not null,
    code varchar not null,
    field varchar,
    cell varchar,
    sentence varchar not null
);

-- grain: one line of a readings export that could be read. key: file_id, record_no
create table reading_lines (
    file_id integer not null,
    record_no integer not null,
    lot_code varchar,
    house varchar,
    bench varchar,
    position varchar,
    crop varchar,
    sampled_on date,
    sampled_time time,
    purpose varchar,
    pot varchar,
    n_pots integer,
    ph decimal(6, 3),
    ph_sd decimal(6, 3),
    ec_ms_cm decimal(9, 4),
    ec_sd_ms_cm decimal(9, 4),
    poured_ml decimal(8, 2),
    leachate_ml decimal(8, 2),
    temperature_c decimal(5, 2),
    drain_min decimal(6, 1),
    condition varchar,
    sampler varchar,
    meter_id varchar,
    method varchar,
    note varchar,
    ec_compensated boolean
);

-- grain: one line of a lots export that could be read. key: file_id, record_no
create table lot_lines (
    file_id integer not null,
    record_no integer not null,
    lot_code varchar,
    house varchar,
    bench varchar,
    crop varchar,
    cultivar varchar,
    container_class varchar,
    started_on date,
    start_kind varchar,
    ends_on date,
    plants bigint,
    grower_id varchar,
    substrate varchar,
    irrigation varchar,
    feed_mode varchar,
    note varchar
);

-- grain: one line of a calibrations export that could be read. key: file_id, record_no
create table calibration_lines (
    file_id integer not null,
    record_no integer not null,
    meter_id varchar,
    calibrated_on date,
    calibrated_time time,
    person varchar,
    slope_pct decimal(6, 2),
    offset_mv decimal(6, 1),
    buffers varchar,
    ec_standard_ms_cm decimal(9, 4),
    ec_found_ms_cm decimal(9, 4),
    passed boolean,
    note varchar
);

-- grain: one thing found in a drop folder that could not be read or that no export claims. key: night_no, site_id, name
create table file_troubles (
    night_no integer not null,
    site_id varchar not null,
    name varchar not null,
    code varchar not null,
    sentence varchar not null,
    mend varchar not null
);

-- grain: one fate of one record over a span of nights. key: file_id, record_no, from_night
-- until_night: the first night on which it no longer held; null while it does
create table fate_history (
    file_id integer not null,
    record_no integer not null,
    fate varchar not null,
    cause varchar,
    from_night integer not null,
    until_night integer
);
