-- What one stage of a run counted.
insert into run_counts (night_no, stage_no, counted, number)
values ($night_no, $stage_no, $counted, $number)
