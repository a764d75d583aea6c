-- The last check of each meter of a site, with its line and the limits in force on its day.
-- grain: one stage of the last check of one meter. key: meter_id. parameters: site_id
select
    c.*,
    f.name as file,
    r.line_from as line,
    r.text,
    r.cells,
    f.export_no,
    f.header,
    p.slope_low_pct,
    p.slope_high_pct,
    p.offset_limit_mv,
    p.buffer_limit_ph,
    p.ec_standard_share
from calibrations as c
inner join files as f on c.file_id = f.file_id
inner join records as r on c.file_id = r.file_id and c.record_no = r.record_no
inner join policy as p
    on c.site_id = p.site_id and c.calibrated_on >= p.valid_from and c.calibrated_on < p.valid_to
where c.site_id = $site_id and c.meter_id is not null
qualify
    row_number() over (
        partition by lower(c.meter_id)
        order by
            c.calibrated_on desc, c.calibrated_time desc nulls last, c.stage_no desc, c.file_id desc, c.record_no desc
    ) = 1
order by lower(c.meter_id)
