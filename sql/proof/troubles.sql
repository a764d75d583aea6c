-- What drop folders held and could not be taken in.
select
    night_no,
    site_id,
    name,
    code,
    sentence,
    mend
from file_troubles
order by night_no, site_id, name, code, sentence, mend
