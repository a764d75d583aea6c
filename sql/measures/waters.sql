-- The last source water whose alkalinity is known, once for each container class that the site grows.
-- grain: one container class of one site. key: site_id, container_class
-- inputs: feed_checks, standing_lots, policy, run
-- rule (house default): a check of more than 60 days ago is not used
with
last_waters as (
    select f.*
    from feed_checks as f
    cross join run as t
    inner join policy as p on f.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
    where
        f.place = 'source_water'
        and f.alkalinity_mg_l is not null
        and f.checked_on between t.as_of - p.water_check_days and t.as_of
    qualify
        row_number() over (
            partition by f.site_id
            order by f.checked_on desc, f.checked_time desc nulls last, f.file_id desc, f.record_no desc
        ) = 1
)

select distinct
    w.site_id,
    l.container_class,
    w.checked_on,
    w.file_id,
    w.record_no,
    w.alkalinity_mg_l::double as alkalinity_mg_l
from last_waters as w
inner join standing_lots as l on w.site_id = l.site_id
order by all
