-- What the meters of a site showed in their buffers.
-- grain: one buffer of one calibration line. key: file_id, record_no, slot. parameters: site_id
select b.*
from buffer_readings as b
inner join files as f on b.file_id = f.file_id
where f.site_id = $site_id
order by b.file_id, b.record_no, b.slot
