-- Meters that a site used or checked lately, for the calibration boxes on top of its sampling sheet.
-- grain: one meter. key: site_id, meter_id
-- rule (house default): lately is within the 60 days up to the as-of date; names are one whatever their case.
select
    m.site_id,
    min(m.meter_id) as meter_id
from (
    select
        site_id,
        meter_id,
        calibrated_on as seen_on
    from calibrations
    where meter_id is not null
    union all
    select
        site_id,
        meter_id,
        used_on as seen_on
    from meter_days
    where meter_id is not null
) as m
cross join run as t
where m.seen_on > t.as_of - 60 and m.seen_on <= t.as_of
group by m.site_id, lower(m.meter_id)
order by m.site_id, lower(min(m.meter_id))
