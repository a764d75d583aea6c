-- Every accepted line behind the samplings of the audited lots, up to the period's end, as the site wrote it and as it is used.
-- grain: one reading line. key: file_id, line_from
-- Lines from before the period stand here too, since follow-ups of the period hang on them.
select
    u.site_id,
    u.lot_id,
    u.lot_key,
    u.sampled_on,
    u.purpose,
    u.file_id,
    f.name as file,
    r.line_from,
    r.line_to,
    f.received_on,
    u.pot,
    u.position,
    u.bench,
    u.n_pots,
    u.ph,
    u.ph_sd,
    u.ec_recorded_ms_cm,
    u.ec_25_ms_cm,
    u.ec_sd_ms_cm,
    u.leachate_ml,
    u.temperature_c,
    u.condition,
    u.sampler,
    u.meter_id,
    u.method,
    u.is_usable_ph,
    u.is_usable_ec,
    u.why_not_ec,
    u.min_usable_pots,
    u.pour_ml,
    u.leachate_low_ml,
    u.leachate_high_ml,
    u.is_without_volume,
    u.is_over_collected,
    u.is_under_collected,
    u.is_meter_calibrated,
    u.is_meter_in_doubt,
    u.note,
    r.text
from usable_readings as u
inner join audit_lots as a on u.site_id = a.site_id and u.lot_key = a.lot_key
cross join audit_period as p
inner join files as f on u.file_id = f.file_id
inner join records as r on u.file_id = r.file_id and u.record_no = r.record_no
where u.sampled_on <= p.to_on
order by u.site_id, u.lot_id, u.sampled_on, u.purpose, u.file_id, r.line_from
