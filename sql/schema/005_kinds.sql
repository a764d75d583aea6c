-- More kinds of exports, lots as dated facts, and meter checks with their buffers.
-- Units: EC mS/cm (at 25 °C only where ec_compensated), alkalinity mg/L CaCO3, temperature °C, dates ISO 8601.

-- grain: one line of a treatments export that could be read. key: file_id, record_no
create table treatment_lines (
    file_id integer not null,
    record_no integer not null,
    lot_code varchar,
    house varchar,
    bench varchar,
    crop varchar,
    treated_on date,
    treated_time time,
    treatment varchar,
    product varchar,
    rate varchar,
    person varchar,
    note varchar
);

-- grain: one line of a feed checks export that could be read. key: file_id, record_no
create table feed_check_lines (
    file_id integer not null,
    record_no integer not null,
    checked_on date,
    checked_time time,
    place varchar,
    house varchar,
    injector varchar,
    ec_ms_cm decimal(9, 4),
    temperature_c decimal(5, 2),
    ph decimal(6, 3),
    alkalinity_mg_l decimal(8, 2),
    nitrogen_ppm decimal(8, 2),
    target_ec_ms_cm decimal(9, 4),
    person varchar,
    note varchar,
    ec_compensated boolean
);

-- grain: one line of an exemptions export that could be read. key: file_id, record_no
create table exemption_lines (
    file_id integer not null,
    record_no integer not null,
    lot_code varchar,
    house varchar,
    bench varchar,
    crop varchar,
    purpose varchar,
    from_on date,
    until_on date,
    reason varchar,
    person varchar,
    entered_on date,
    note varchar
);

-- grain: one line of a planting or shipping list that could be read. key: file_id, record_no
create table planting_lines (
    file_id integer not null,
    record_no integer not null,
    lot_code varchar,
    crop varchar,
    cultivar varchar,
    house varchar,
    bench varchar,
    planted_on date,
    ships_on date,
    plants bigint,
    note varchar
);

-- grain: one line of a list of people that could be read. key: file_id, record_no
create table people_lines (
    file_id integer not null,
    record_no integer not null,
    name varchar,
    role varchar,
    trained_on date,
    trained_by varchar,
    until_on date,
    note varchar
);

-- valid_from: the day from which the line holds; null: from the lot's start
alter table lot_lines add column valid_from date;
alter table lot_lines add column parent_code varchar;
alter table lot_lines add column event varchar;

-- found and left: pH shown in a buffer before and after adjusting; mv: what the electrode gave in it
alter table calibration_lines add column stage varchar;
alter table calibration_lines add column found_4_ph decimal(6, 3);
alter table calibration_lines add column found_7_ph decimal(6, 3);
alter table calibration_lines add column found_10_ph decimal(6, 3);
alter table calibration_lines add column left_4_ph decimal(6, 3);
alter table calibration_lines add column left_7_ph decimal(6, 3);
alter table calibration_lines add column left_10_ph decimal(6, 3);
alter table calibration_lines add column buffer_4_mv decimal(6, 1);
alter table calibration_lines add column buffer_7_mv decimal(6, 1);
alter table calibration_lines add column buffer_10_mv decimal(6, 1);
alter table calibration_lines add column temperature_c decimal(5, 2);
alter table calibration_lines add column ec_left_ms_cm decimal(9, 4);
alter table calibration_lines add column solution varchar;
alter table calibration_lines add column solution_expires_on date;

-- grain: pH of one buffer at one temperature. key: buffer, temperature_c. buffer: its pH at 25 °C, as on the label
create table buffer_values (
    buffer decimal(4, 2) not null,
    temperature_c integer not null,
    ph decimal(4, 2) not null,
    source varchar not null,
    how_known varchar not null
);

alter table policy add column buffer_limit_ph decimal(6, 3);
