-- Each accepted reading stands in exactly one sampling.
select f.file_id, f.record_no, 'accepted, but in no sampling or in several' as remark
from record_fates as f
left join usable_readings as r on f.file_id = r.file_id and f.record_no = r.record_no
where f.fate = 'accepted' and f.export_kind = 'readings'
group by f.file_id, f.record_no
having count(r.file_id) <> 1
