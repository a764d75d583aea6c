-- The run of the night before.
delete from run
