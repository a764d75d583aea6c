-- Dues that one lot's samplings answer, by the sheets on which they were written down.
-- grain: one sampling and one due. parameters: site_id, lot_key
select
    sampled_on,
    purpose,
    due_why,
    due_on,
    pots,
    is_counting,
    days_late
from answered_dues
where site_id = $site_id and lot_key = $lot_key
order by sampled_on, purpose, due_on, due_why
