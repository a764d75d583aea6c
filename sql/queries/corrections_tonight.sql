-- Lines that gave way tonight: to a later version of the same reading or lot, or because the site's whole list has them no more.
-- grain: one line. key: site_id, file, line
-- by_*: the line that took its place; null where it was withdrawn
select
    v.site_id,
    v.kind,
    f.name as file,
    r.line_from as line,
    r.text,
    h.fate,
    g.name as by_file,
    w.line_from as by_line,
    w.text as by_text
from fate_history as h
inner join run as t on h.from_night = t.night_no
inner join record_versions as v on h.file_id = v.file_id and h.record_no = v.record_no
inner join records as r on h.file_id = r.file_id and h.record_no = r.record_no
inner join files as f on h.file_id = f.file_id
left join files as g on v.ruling_file_id = g.file_id
left join records as w on v.ruling_file_id = w.file_id and v.ruling_record_no = w.record_no
where h.fate in ('superseded', 'withdrawn') and h.until_night is null
order by v.site_id, f.file_id, r.line_from
