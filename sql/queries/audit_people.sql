-- Who sampled in an audited period, how often, and when each was trained where the site sends it.
-- grain: one sampler of one site. key: site_id, sampler
with
samplers as (
    select
        u.site_id,
        lower(u.sampler) as person_key,
        any_value(u.sampler order by u.file_id, u.record_no) as sampler,
        count(distinct concat_ws('|', u.lot_key, u.sampled_on, u.purpose))::integer as samplings
    from usable_readings as u
    inner join audit_lots as a on u.site_id = a.site_id and u.lot_key = a.lot_key
    cross join audit_period as p
    where u.sampler is not null and u.sampled_on between p.from_on and p.to_on
    group by u.site_id, lower(u.sampler)
)

select
    s.site_id,
    s.sampler,
    s.samplings,
    n.role,
    n.trained_on,
    n.trained_by,
    n.until_on,
    exists(
        select 1
        from people as o
        where o.site_id = s.site_id
    ) as is_list_sent
from samplers as s
left join people as n on s.site_id = n.site_id and s.person_key = n.person_key
order by s.site_id, s.person_key
