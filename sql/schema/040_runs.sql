-- How long each night took and what its stages counted; the ledger holds the same, so a replayed night has it too.

-- grain: one stage of the run that published a night. key: night_no, stage_no
-- started_at: of the run, UTC; seconds: wall-clock time of the stage. Publishing itself is not in it
create table run_stages (
    night_no integer not null,
    stage_no integer not null,
    run_id varchar not null,
    started_at timestamp not null,
    stage varchar not null,
    seconds decimal(12, 3) not null
);

-- grain: one count of one stage. key: night_no, stage_no, counted
create table run_counts (
    night_no integer not null,
    stage_no integer not null,
    counted varchar not null,
    number bigint not null
);
