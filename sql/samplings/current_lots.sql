-- The lots as the sites' newest lists know them, by what holds on the as-of date.
-- grain: one lot. key: site_id, lot_key (the code in lower case)
-- inputs: lot_facts, run
-- A lot whose line cannot be used is kept with is_usable false, so that its readings can say why they wait.
-- stands_from: the start, or the day on which the lot was split off from its parent, where that came later.
select
    l.site_id,
    l.lot_key,
    l.lot_id,
    l.file_id,
    l.record_no,
    l.is_usable,
    l.unusable_sentence,
    l.house,
    l.bench,
    l.crop,
    l.crop_key,
    l.cultivar,
    l.container_class,
    l.started_on,
    l.start_kind,
    l.ends_on,
    l.plants,
    l.grower_id,
    l.substrate,
    l.irrigation,
    l.feed_mode,
    l.parent_id,
    l.parent_key,
    l.split_on,
    greatest(l.started_on, l.split_on) as stands_from
from lot_facts as l
cross join run as t
-- where nothing holds yet, what will hold first
qualify
    row_number() over (
        partition by l.site_id, l.lot_key
        order by
            l.valid_from <= t.as_of desc,
            case when l.valid_from <= t.as_of then l.valid_from end desc,
            l.valid_from asc
    ) = 1
