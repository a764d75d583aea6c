-- Held records gathered by what they wait for.
-- grain: one cause and one thing of one site, alike but for cells and figures. key: site_id, cause, what, likeness
-- inputs: record_fates, files, records
select
    h.site_id,
    h.cause,
    h.what,
    regexp_replace(coalesce(h.detail, ''), '"[^"]*"|[0-9]+([.,][0-9]+)*', '#', 'g') as likeness,
    any_value(h.detail order by h.file_id, h.record_no) as detail,
    any_value(h.fitting_lots) as fitting_lots,
    any_value(h.started_on) as started_on,
    any_value(h.ends_on) as ends_on,
    any_value(f.problem_mend) as file_mend,
    any_value(f.kind) as export_kind,
    count(*)::integer as records,
    list({ 'file': f.name, 'line': r.line_from, 'text': r.text } order by h.file_id, h.record_no)[1:3] as examples
from record_fates as h
inner join files as f on h.file_id = f.file_id
inner join records as r on h.file_id = r.file_id and h.record_no = r.record_no
where h.fate = 'held'
group by h.site_id, h.cause, h.what, likeness
