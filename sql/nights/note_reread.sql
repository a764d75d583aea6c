-- One file that tonight read again.
insert into rereads (night_no, file_id, changed_lines)
select night_no, $file_id, $changed_lines
from run
