-- Lines that are held: kept out until they can be used, with their place and their cause.
-- grain: one held record. key: file_id, line
select
    h.site_id,
    h.export_kind as kind,
    f.file_id,
    f.name as file,
    r.line_from as line,
    f.received_on,
    h.cause,
    h.what,
    h.detail,
    h.fitting_lots,
    h.started_on,
    h.ends_on,
    f.problem_mend as file_mend,
    count(*) over (partition by h.site_id, f.file_id, h.cause, h.what, h.detail)::integer as records,
    r.text
from record_fates as h
inner join files as f on h.file_id = f.file_id
inner join records as r on h.file_id = r.file_id and h.record_no = r.record_no
cross join audit_period as p
where h.fate = 'held' and (p.site_id is null or h.site_id = p.site_id)
order by h.site_id, f.file_id, r.line_from
