-- What some lines were taken for, and from which as-of date to which.
-- grain: one fate of one line over a span of days. key: file_id, record_no, known_from. parameters: file_ids and record_nos,
-- two lists that name the lines together
-- known_to: the as-of date on which it no longer held; null while it holds. What held between two runs of one night only is
-- left out.
with asked as (
    select
        unnest($file_ids) as file_id,
        unnest($record_nos) as record_no
)

select
    h.file_id,
    h.record_no,
    h.fate,
    h.cause,
    n.as_of as known_from,
    u.as_of as known_to
from fate_history as h
inner join asked as a on h.file_id = a.file_id and h.record_no = a.record_no
inner join nights as n on h.from_night = n.night_no
left join nights as u on h.until_night = u.night_no
where u.as_of is null or u.as_of > n.as_of
order by h.file_id, h.record_no, h.from_night
