-- The lots that an audit of a period looks at: those that stood in the houses on one of its days.
-- grain: one lot. key: site_id, lot_key
-- inputs: current_lots, sites, files, audit_period
-- last_on: the last day that is looked at, the lot's end or the period's. is_ended: the lot ended by then, so what was not
-- taken will never be. first_night: the site's own word, else the day on which its first file was received.
with
receipts as (
    select
        site_id,
        min(received_on) as first_received_on
    from files
    group by site_id
)

select
    l.site_id,
    l.lot_key,
    l.lot_id,
    l.house,
    l.grower_id,
    l.crop,
    l.crop_key,
    l.cultivar,
    l.feed_mode,
    l.container_class,
    l.started_on,
    l.start_kind,
    l.stands_from,
    l.ends_on,
    l.plants,
    l.parent_id,
    coalesce(l.ends_on <= p.to_on, false) as is_ended,
    least(p.to_on, coalesce(l.ends_on, p.to_on)) as last_on,
    coalesce(s.first_night, r.first_received_on) as first_night,
    l.file_id,
    l.record_no
from current_lots as l
inner join sites as s on l.site_id = s.site_id
inner join receipts as r on l.site_id = r.site_id
cross join audit_period as p
where
    l.is_usable
    and l.stands_from <= p.to_on
    and coalesce(l.ends_on, p.to_on) >= p.from_on
    and l.stands_from <= coalesce(l.ends_on, l.stands_from)
    and (p.site_id is null or l.site_id = p.site_id)
