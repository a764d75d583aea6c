-- Remarks on the checks of meters, newest check first, each with its line.
-- grain: one rule's remark on one check. key: file_id, record_no, stage, rule, meter_id
select
    m.*,
    f.name as file,
    r.line_from as line
from meter_findings as m
inner join files as f on m.file_id = f.file_id
inner join records as r on m.file_id = r.file_id and m.record_no = r.record_no
order by
    m.site_id asc,
    m.meter_key asc,
    m.calibrated_on desc,
    m.calibrated_time desc nulls last,
    m.stage_no desc,
    m.file_id desc,
    m.record_no desc,
    m.rule asc,
    m.meter_id asc
