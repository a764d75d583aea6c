-- Lines that gave way to a later version, or were withdrawn: both versions, where each stands and when it came.
-- grain: one line that rules no more. key: file_id, line. parameters: none but the audited period
-- Of readings those of the period; of other kinds all. changed_on: the night that took the line out.
select
    v.site_id,
    v.kind,
    h.fate,
    d.lot_code,
    d.sampled_on,
    f.file_id,
    f.name as file,
    r.line_from as line,
    f.received_on,
    r.text,
    n.as_of as changed_on,
    g.file_id as by_file_id,
    g.name as by_file,
    w.line_from as by_line,
    g.received_on as by_received_on,
    w.text as by_text
from fate_history as h
inner join nights as n on h.from_night = n.night_no
inner join record_versions as v on h.file_id = v.file_id and h.record_no = v.record_no
inner join records as r on h.file_id = r.file_id and h.record_no = r.record_no
inner join files as f on h.file_id = f.file_id
cross join audit_period as p
left join reading_lines as d on h.file_id = d.file_id and h.record_no = d.record_no
left join files as g on v.ruling_file_id = g.file_id
left join records as w on v.ruling_file_id = w.file_id and v.ruling_record_no = w.record_no
where
    h.fate in ('superseded', 'withdrawn')
    and h.until_night is null
    and (p.site_id is null or v.site_id = p.site_id)
    and (v.kind <> 'readings' or d.sampled_on is null or d.sampled_on between p.from_on and p.to_on)
order by v.site_id, f.file_id, r.line_from
