-- Each sampling has one verdict row for pH and one for EC, and is judged or says why not.
select s.site_id, s.lot_key, 'has not one verdict for pH and one for EC' as remark
from samplings as s
left join verdicts as v
    on s.site_id = v.site_id and s.lot_key = v.lot_key and s.sampled_on = v.sampled_on and s.purpose = v.purpose
group by s.site_id, s.lot_key, s.sampled_on, s.purpose
having count(v.quantity) <> 2
union all
select site_id, lot_key, 'is neither judged nor says why not' as remark
from verdicts
where (side is null) <> (not_judged_why is not null)
