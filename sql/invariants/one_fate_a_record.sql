-- Each record has exactly one fate, and a held one has a cause.
select r.file_id, r.record_no, 'has no fate, or more than one' as remark
from records as r
left join record_fates as f on r.file_id = f.file_id and r.record_no = f.record_no
group by r.file_id, r.record_no
having count(f.fate) <> 1
union all
select file_id, record_no, 'is held without a cause, or has a cause without being held' as remark
from record_fates
where (fate = 'held') <> (cause is not null)
