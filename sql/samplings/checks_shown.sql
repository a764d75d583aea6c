-- From which day on a site shows its meter checks.
-- grain: one site that sends any. key: site_id
-- inputs: sites, calibrations, files
-- rule (ours): with an export of its own from the beginning; a site that only fills in the calibration boxes of the sheet from
-- the first day on which it did, so that what it sampled before is not shown rather than wrong. The sheet's exports count 0
-- and down.
select
    s.site_id,
    case when s.has_calibrations then date '0001-01-01' else min(c.calibrated_on) end as from_on
from sites as s
left join files as f on s.site_id = f.site_id and f.export_no < 1
left join calibrations as c on f.file_id = c.file_id
group by s.site_id, s.has_calibrations
having s.has_calibrations or min(c.calibrated_on) is not null
