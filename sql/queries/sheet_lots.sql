-- What a sampling sheet asks for: dues up to a day, with the lot and the recipe of its container class.
-- grain: one due that is not excused, of one standing lot. key: site_id, lot_key, why, due_on
-- $until: the last day whose dues belong on the sheet, overdue ones always do, but for a pair that waits for a later feeding
-- rules (ours): a lot that ships before its due day is not asked for; the recipe is that of the policy in force on the
-- as-of date.
select
    l.site_id,
    l.lot_key,
    l.lot_id,
    l.house,
    l.bench,
    l.crop,
    l.cultivar,
    l.container_class,
    l.plants,
    l.min_usable_pots,
    d.why,
    d.rule_on,
    d.due_on,
    d.not_before,
    d.next_before_on,
    d.next_fed_on,
    d.caused_on,
    d.interval_days,
    d.purposes,
    d.pots,
    d.nth,
    c.pour_ml,
    c.leachate_low_ml,
    c.leachate_high_ml,
    c.drain_low_min,
    c.drain_high_min,
    p.minutes_per_pot
from standing_lots as l
inner join dues as d on l.site_id = d.site_id and l.lot_key = d.lot_key
inner join policy as p on l.site_id = p.site_id and l.as_of >= p.valid_from and l.as_of < p.valid_to
inner join policy_containers as c
    on
        l.site_id = c.site_id
        and l.container_class = c.container_class
        and l.as_of >= c.valid_from
        and l.as_of < c.valid_to
where
    not d.is_excused
    and coalesce(d.next_before_on, d.due_on) <= $until
    and coalesce(d.next_before_on, d.due_on) <= coalesce(l.ends_on, date '9999-12-31')
order by l.site_id, l.lot_key, d.nth, d.due_on, d.why
