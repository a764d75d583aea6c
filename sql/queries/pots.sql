-- Accepted readings of standing lots with the file and line they stand in.
-- grain: one reading line. key: file, line
select
    u.site_id,
    u.lot_key,
    u.sampled_on,
    u.purpose,
    f.name as file,
    r.line_from as line,
    u.pot,
    coalesce(u.position, u.bench) as position,
    u.n_pots,
    u.ph::double as ph,
    u.ec_25_ms_cm::double as ec_ms_cm,
    u.leachate_ml::double as leachate_ml,
    u.method,
    u.is_usable_ph,
    u.is_usable_ec,
    u.why_not_ec,
    exists(
        select 1
        from outlier_pots as o
        where o.file_id = u.file_id and o.record_no = u.record_no and o.quantity = 'ph'
    ) as outlier_ph,
    exists(
        select 1
        from outlier_pots as o
        where o.file_id = u.file_id and o.record_no = u.record_no and o.quantity = 'ec'
    ) as outlier_ec
from usable_readings as u
inner join standing_lots as l on u.site_id = l.site_id and u.lot_key = l.lot_key
inner join files as f on u.file_id = f.file_id
inner join records as r on u.file_id = r.file_id and u.record_no = r.record_no
order by u.site_id, u.lot_key, u.sampled_on, u.purpose, u.sampled_time nulls last, u.file_id, u.record_no
