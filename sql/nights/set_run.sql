-- The run that tonight's models look at.
insert into run (night_no, as_of) values ($night_no, $as_of)
