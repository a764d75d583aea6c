-- What each lot was, and where it stood, over spans of days: a move, a split or a shipment in part begins a new span.
-- grain: one lot in one span of days. key: site_id, lot_key, valid_from. valid_to is exclusive, 9999-12-31 for the last
-- inputs: record_versions, lot_lines, record_problems
-- rules (ours): a line holds from its valid_from until the lot's next one; the first one holds from the lot's start, also
-- where it was written down later. A lot with a parent was split off on the day of its first line: before that day its
-- plants are the parent's, and so are their readings.
with
undated as (
    select distinct
        file_id,
        record_no
    from record_problems
    where field = 'valid_from'
),

lines as (
    select
        v.site_id,
        lower(l.lot_code) as lot_key,
        v.file_id,
        v.record_no,
        p.sentence is null as is_line_usable,
        p.sentence,
        u.file_id is not null as is_undated,
        l.* exclude (file_id, record_no, parent_code),
        -- nobody is split off from himself
        case when lower(l.parent_code) <> lower(l.lot_code) then l.parent_code end as parent_id
    from record_versions as v
    inner join lot_lines as l on v.file_id = l.file_id and v.record_no = l.record_no
    left join record_problems as p on v.file_id = p.file_id and v.record_no = p.record_no and p.problem_no = 1
    left join undated as u on v.file_id = u.file_id and v.record_no = u.record_no
    where v.kind = 'lots' and v.version = 'current' and v.line_key is not null
    -- the same lot in two exports: the line seen last
    qualify
        row_number() over (
            partition by v.site_id, lower(l.lot_code), l.valid_from order by v.file_id desc, v.record_no desc
        ) = 1
),

ordered as (
    select
        *,
        row_number() over of_lot as nth,
        lead(valid_from) over of_lot as next_from,
        min(started_on) over (partition by site_id, lot_key) as first_started_on,
        -- nobody knows when a line holds whose day cannot be read: the lot waits until it is mended
        not bool_or(is_undated) over (partition by site_id, lot_key) and is_line_usable as is_usable,
        coalesce(
            sentence, min(case when is_undated then sentence end) over (partition by site_id, lot_key)
        ) as unusable_sentence,
        first_value(parent_id) over of_lot as first_parent_id,
        first_value(valid_from) over of_lot as first_valid_from
    from lines
    window of_lot as (partition by site_id, lot_key order by valid_from asc nulls first)
)

select
    site_id,
    lot_key,
    lot_code as lot_id,
    case
        when nth > 1 then valid_from
        when first_parent_id is not null then coalesce(valid_from, started_on, date '0001-01-01')
        else coalesce(least(valid_from, first_started_on), date '0001-01-01')
    end as valid_from,
    coalesce(next_from, date '9999-12-31') as valid_to,
    nth::integer as nth,
    event,
    first_parent_id as parent_id,
    lower(first_parent_id) as parent_key,
    case when first_parent_id is not null then first_valid_from end as split_on,
    file_id,
    record_no,
    is_usable,
    unusable_sentence,
    house,
    bench,
    crop,
    lower(trim(crop)) as crop_key,
    cultivar,
    container_class,
    started_on,
    start_kind,
    ends_on,
    plants,
    grower_id,
    substrate,
    irrigation,
    feed_mode,
    note
from ordered
