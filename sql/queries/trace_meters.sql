-- The meters of a lot's samplings on one day, and what puts each in doubt or keeps its day from being calibrated.
-- grain: one meter of one sampling. key: purpose, meter_id. parameters: site_id, lot_key, sampled_on
select
    m.*,
    s.has_calibrations
from sampling_meters as m
inner join sites as s on m.site_id = s.site_id
where m.site_id = $site_id and m.lot_key = $lot_key and m.sampled_on = $sampled_on
order by m.purpose, m.meter_id nulls last
