-- Every calendar event has one newest version, and its versions are numbered from 0 without a gap, in the order of nights.
with
versions as (
    select
        uid,
        sequence,
        from_night,
        until_night,
        row_number() over (partition by uid order by from_night asc, sequence asc) - 1 as nth,
        lead(from_night) over (partition by uid order by from_night asc, sequence asc) as next_night
    from calendar_history
)

select
    uid,
    sequence,
    from_night,
    until_night
from versions
where sequence != nth or until_night is distinct from next_night or from_night is not distinct from next_night
