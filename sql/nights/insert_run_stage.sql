-- One stage of the run that publishes a night.
insert into run_stages (night_no, stage_no, run_id, started_at, stage, seconds)
values ($night_no, $stage_no, $run_id, $started_at, $stage, $seconds)
