-- Something in a drop folder that could not be taken in.
insert into file_troubles (night_no, site_id, name, code, sentence, mend)
values ($night_no, $site_id, $name, $code, $sentence, $mend)
