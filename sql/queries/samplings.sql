-- Samplings of standing lots, oldest first, with the dues that their sheets name.
-- grain: one sampling. key: site_id, lot_key, sampled_on, purpose
-- answers: a list of why and due_on; null where no line names a due
with
answered as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose,
        list({ 'why': due_why, 'due_on': due_on } order by due_on, due_why) as answers
    from answered_dues
    group by site_id, lot_key, sampled_on, purpose
)

select
    s.*,
    a.answers
from samplings as s
inner join standing_lots as l on s.site_id = l.site_id and s.lot_key = l.lot_key
left join answered as a
    on s.site_id = a.site_id and s.lot_key = a.lot_key and s.sampled_on = a.sampled_on and s.purpose = a.purpose
order by s.site_id, s.lot_key, s.sampled_on, s.purpose
