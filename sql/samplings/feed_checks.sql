-- Source water, feed at the hose end and stock tanks, as measured.
-- grain: one accepted line of a feed checks export. key: file_id, record_no
-- inputs: record_fates, feed_check_lines, policy
-- units: EC mS/cm at 25 °C, alkalinity mg/L CaCO3, nitrogen ppm, temperature °C. place: source_water, hose_end, tank
-- rule: EC25 = EC / (1 + alpha (T - 25)) where the meter does not compensate, as for readings; no temperature, no EC.
-- target_ec_ms_cm: what the feed should read where it leaves the hose, the water's own EC included.
select
    f.site_id,
    d.checked_on,
    d.checked_time,
    d.place,
    d.house,
    d.injector,
    d.ec_ms_cm as ec_recorded_ms_cm,
    d.ec_compensated,
    d.temperature_c,
    d.ph,
    d.alkalinity_mg_l,
    d.nitrogen_ppm,
    d.target_ec_ms_cm,
    d.person,
    d.note,
    f.file_id,
    f.record_no,
    case
        when d.ec_compensated then d.ec_ms_cm
        when 1 + p.ec_alpha_per_c * (d.temperature_c - 25) > 0.1
            then round(d.ec_ms_cm / (1 + p.ec_alpha_per_c * (d.temperature_c - 25)), 4)::decimal(9, 4)
    end as ec_25_ms_cm
from record_fates as f
inner join feed_check_lines as d on f.file_id = d.file_id and f.record_no = d.record_no
inner join policy as p on f.site_id = p.site_id and d.checked_on >= p.valid_from and d.checked_on < p.valid_to
where f.fate = 'accepted'
