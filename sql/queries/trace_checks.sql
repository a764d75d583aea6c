-- Every check of the meters of a site, newest first, with its line and the limits in force on its day.
-- grain: one stage of one check of one meter. key: file_id, record_no, stage. parameters: site_id
-- lowest_ph, highest_ph: what the meter read on a day that it was accepted for, where its buffers do not bracket it
-- readings_before, readings_after: readings that it puts in doubt, before its day and from its day on
with
doubted as (
    select
        d.doubt_file_id,
        d.doubt_record_no,
        d.doubt_stage,
        count_if(d.used_on < d.doubt_on) as readings_before,
        count_if(d.used_on >= d.doubt_on) as readings_after
    from usable_readings as r
    inner join meter_days as d on r.site_id = d.site_id and r.meter_id = d.meter_id and r.sampled_on = d.used_on
    where d.is_in_doubt
    group by d.doubt_file_id, d.doubt_record_no, d.doubt_stage
),

unbracketed as (
    select
        check_file_id,
        check_record_no,
        check_stage,
        min(lowest_ph) as lowest_ph,
        max(highest_ph) as highest_ph
    from meter_days
    where is_checked and not is_calibrated
    group by check_file_id, check_record_no, check_stage
)

select
    c.*,
    n.labels,
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
    p.ec_standard_share,
    u.lowest_ph,
    u.highest_ph,
    coalesce(d.readings_before, 0) as readings_before,
    coalesce(d.readings_after, 0) as readings_after
from calibrations as c
inner join files as f on c.file_id = f.file_id
inner join records as r on c.file_id = r.file_id and c.record_no = r.record_no
inner join policy as p
    on c.site_id = p.site_id and c.calibrated_on >= p.valid_from and c.calibrated_on < p.valid_to
left join named_buffers as n on c.file_id = n.file_id and c.record_no = n.record_no
left join doubted as d
    on c.file_id = d.doubt_file_id and c.record_no = d.doubt_record_no and c.stage = d.doubt_stage
left join unbracketed as u
    on c.file_id = u.check_file_id and c.record_no = u.check_record_no and c.stage = u.check_stage
where c.site_id = $site_id and c.meter_id is not null
order by
    lower(c.meter_id) asc,
    c.calibrated_on desc,
    c.calibrated_time desc nulls last,
    c.stage_no desc,
    c.file_id desc,
    c.record_no desc
