-- Ends the fates that no longer hold tonight.
update fate_history
set until_night = (select night_no from run)
where
    until_night is null
    and not exists (
        select 1
        from record_fates as f
        where
            f.file_id = fate_history.file_id
            and f.record_no = fate_history.record_no
            and f.fate = fate_history.fate
            and f.cause is not distinct from fate_history.cause
    )
