-- Opens the fates that hold since tonight.
insert into fate_history by name
select
    f.file_id,
    f.record_no,
    f.fate,
    f.cause,
    (select night_no from run) as from_night,
    null::integer as until_night
from record_fates as f
where
    not exists (
        select 1
        from fate_history as h
        where h.file_id = f.file_id and h.record_no = f.record_no and h.until_night is null
    )
