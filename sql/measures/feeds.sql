-- The last feed at each hose end, with the source water that it is made of and what it should read.
-- grain: one injector, or house where none is named, of one site. key: site_id, file_id, record_no
-- inputs: feed_checks, policy, run
-- units: EC mS/cm at 25 °C. expected_ec_ms_cm: target_ec_ms_cm less the water, what the fertilizer should add
-- rules (house defaults): a check of more than 60 days ago is not used; the water is the check nearest in time, the earlier
-- one of two.
-- Names are the same whatever their case; an injector and a house of one name are two hose ends. hose_key: as last written
with
recent as (
    select
        f.*,
        coalesce(f.injector, f.house, '') as hose_key,
        row_number() over (
            partition by
                f.site_id, f.place, lower(f.injector), case when f.injector is null then lower(f.house) end
            order by f.checked_on desc, f.checked_time desc nulls last, f.file_id desc, f.record_no desc
        ) as back
    from feed_checks as f
    cross join run as t
    inner join policy as p on f.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
    where f.ec_25_ms_cm is not null and f.checked_on between t.as_of - p.water_check_days and t.as_of
)

select
    h.site_id,
    h.hose_key,
    h.checked_on,
    h.file_id,
    h.record_no,
    w.checked_on as water_on,
    w.file_id as water_file_id,
    w.record_no as water_record_no,
    h.ec_25_ms_cm::double as hose_ec_ms_cm,
    w.ec_25_ms_cm::double as water_ec_ms_cm,
    h.target_ec_ms_cm::double as target_ec_ms_cm,
    (h.target_ec_ms_cm - w.ec_25_ms_cm)::double as expected_ec_ms_cm
from recent as h
left join recent as w on h.site_id = w.site_id and w.place = 'source_water'
where h.place = 'hose_end' and h.back = 1
qualify
    row_number() over (
        partition by h.site_id, h.file_id, h.record_no
        order by
            abs(h.checked_on - w.checked_on) asc, w.checked_on asc,
            w.checked_time desc nulls last, w.file_id desc, w.record_no desc
    ) = 1
order by h.site_id, h.hose_key, h.file_id, h.record_no
