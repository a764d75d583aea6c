-- Lines that the files of one export have brought under the settings of today, each where it was seen first, with the figures
-- that rules about a whole file look at.
select
    f.layout,
    r.text,
    r.nth,
    r.file_id,
    r.record_no::bigint as record_no,
    l.ph,
    l.ec_ms_cm
from records as r
inner join files as f on r.file_id = f.file_id
left join reading_lines as l on r.file_id = l.file_id and r.record_no = l.record_no
where
    f.site_id = $site_id
    and f.kind = $kind
    and f.export_no = $export_no
    and f.reading_digest = $reading_digest
    and f.layout is not null
    and r.kind = 'data'
    and r.same_as_file_id is null
order by r.file_id, r.record_no
