-- What keeps a current line on a treatment, a feed check, an excuse or a person out, seen from the lots and the calendar.
-- grain: one such line with a cause or without. key: file_id, record_no
-- inputs: treatment_lots, treatment_lines, exemption_lots, exemption_lines, feed_check_lines, people_lines, current_lots, run
-- An excuse may begin in the future; a planting list says what is to come. Neither is held for its days.
with
treated as (
    select
        m.file_id,
        m.record_no,
        any_value(m.site_id) as site_id,
        any_value(m.lot_key) as lot_key,
        count(m.lot_key)::integer as fitting_lots,
        bool_or(m.is_by_place) as is_by_place
    from treatment_lots as m
    group by m.file_id, m.record_no
),

excused as (
    select
        m.file_id,
        m.record_no,
        any_value(m.site_id) as site_id,
        any_value(m.lot_key) as lot_key,
        count(m.lot_key)::integer as fitting_lots,
        bool_or(m.is_by_place) as is_by_place
    from exemption_lots as m
    group by m.file_id, m.record_no
)

select
    m.file_id,
    m.record_no,
    d.lot_code,
    d.treated_on as on_day,
    l.lot_id,
    l.stands_from as started_on,
    l.ends_on,
    m.fitting_lots,
    concat_ws(', ', 'house ' || d.house, 'bench ' || d.bench, d.crop) as place,
    case
        when d.treated_on > t.as_of then 'in_future'
        when m.lot_key is null then 'place_unclear'
        when m.is_by_place then null
        when l.lot_key is null then 'lot_unknown'
        when not l.is_usable then 'lot_held'
        when d.treated_on < l.stands_from then 'before_start'
        when d.treated_on > l.ends_on then 'after_end'
    end as cause
from treated as m
inner join treatment_lines as d on m.file_id = d.file_id and m.record_no = d.record_no
cross join run as t
left join current_lots as l on m.site_id = l.site_id and m.lot_key = l.lot_key
union all by name
select
    m.file_id,
    m.record_no,
    d.lot_code,
    d.from_on as on_day,
    l.lot_id,
    l.stands_from as started_on,
    l.ends_on,
    m.fitting_lots,
    concat_ws(', ', 'house ' || d.house, 'bench ' || d.bench, d.crop) as place,
    case
        when m.lot_key is null then 'place_unclear'
        when m.is_by_place then null
        when l.lot_key is null then 'lot_unknown'
        when not l.is_usable then 'lot_held'
    end as cause
from excused as m
inner join exemption_lines as d on m.file_id = d.file_id and m.record_no = d.record_no
left join current_lots as l on m.site_id = l.site_id and m.lot_key = l.lot_key
union all by name
select
    c.file_id,
    c.record_no,
    null as lot_code,
    c.checked_on as on_day,
    null as lot_id,
    null as started_on,
    null as ends_on,
    null as fitting_lots,
    null as place,
    'in_future' as cause
from feed_check_lines as c
cross join run as t
where c.checked_on > t.as_of
union all by name
select
    p.file_id,
    p.record_no,
    null as lot_code,
    p.trained_on as on_day,
    null as lot_id,
    null as started_on,
    null as ends_on,
    null as fitting_lots,
    null as place,
    'in_future' as cause
from people_lines as p
cross join run as t
where p.trained_on > t.as_of
