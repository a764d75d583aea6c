-- New lines of later files that are a line which went, but for what may have been wrong with it.
-- grain: one line that went and one later file that has such a line. key: line_file_id, line_record_no, later_file_id
-- inputs: gone_lines, record_problems, records, reading_lines, line_appearances, line_keys
-- rules (ours): all other mapped cells are the same, trimmed; of several that are alike the k-th is that of the k-th.
-- own: the fields of the line's own problems differ. day: those of its day, where it lay in the future; before the start or
-- after the end of its lot only where year or month alone differ or day and month are exchanged. lot: lot and place, where
-- its place was unclear, or a line by place alone stands for an unknown lot. Any other day, or another lot, is believed of a
-- line that is missing in a newer version of its file, if the day is none after the file's last; and else of a whole sampling
-- only: three lines or more, not all alike, all of which came again so. mended: a line that could not be divided into cells, and one that has its letters and figures
-- in their order, or goes on from them.
-- how: own, day, lot or mended; ruling_*: the new line
with
first_seen as (
    select
        line_file_id,
        line_record_no,
        min(file_id) as file_id
    from line_appearances
    group by line_file_id, line_record_no
),

own_fields as (
    select
        file_id,
        record_no,
        list_sort(list_distinct(flatten(list(
            case
                when code = 'ph_out_of_scale' then ['ph']
                when code = 'ec_out_of_scale' then ['ec']
                when code = 'method_missing' then ['method']
                when code = 'ph_ec_swapped' then ['ph', 'ec']
                when code = 'nothing_measured' then ['ph', 'ec', 'alkalinity', 'nitrogen']
                when code = 'missing' and field in ('lot', 'house') then ['lot', 'house', 'bench', 'crop']
                when field in ('date', 'datetime', 'time', 'year', 'week')
                    then ['date', 'datetime', 'time', 'year', 'week']
                when field in ('from', 'until') then ['from', 'until']
                else [field]
            end
        )))) as fields
    from record_problems
    group by file_id, record_no
),

-- What may differ.
openings as (
    select
        g.*,
        'own' as how,
        o.fields
    from gone_lines as g
    inner join own_fields as o on g.line_file_id = o.file_id and g.line_record_no = o.record_no
    union all
    select
        *,
        'day' as how,
        ['date', 'datetime', 'time', 'year', 'week', 'from', 'until'] as fields
    from gone_lines
    where is_missing or cause in ('in_future', 'before_start', 'after_end')
    union all
    select
        *,
        'lot' as how,
        ['lot', 'house', 'bench', 'crop'] as fields
    from gone_lines
    where is_missing or cause in ('lot_unknown', 'lot_held', 'place_unclear', 'before_start', 'after_end')
),

last_days as (
    select
        a.file_id,
        max(k.day_on) as day_on
    from line_appearances as a
    inner join line_keys as k on a.line_file_id = k.file_id and a.line_record_no = k.record_no
    group by a.file_id
),

old_lines as (
    select
        o.*,
        d.day_on as last_day_on,
        k.sampling_key,
        k.day_on,
        list_transform(
            list_sort(list_filter(json_keys(r.cells), lambda name: not list_contains(o.fields, name))),
            lambda name: concat(name, '=', trim(json_extract_string(r.cells, concat('$."', name, '"'))))
        ) as others
    from openings as o
    inner join records as r on o.line_file_id = r.file_id and o.line_record_no = r.record_no
    inner join line_keys as k on o.line_file_id = k.file_id and o.line_record_no = k.record_no
    inner join last_days as d on o.file_id = d.file_id
    where r.cells is not null
),

new_lines as (
    select
        f.later_file_id,
        f.fields,
        s.file_id as first_file_id,
        a.line_file_id,
        a.line_record_no,
        a.record_no,
        k.sampling_key,
        k.day_on,
        l.lot_code,
        list_transform(
            list_sort(list_filter(json_keys(r.cells), lambda name: not list_contains(f.fields, name))),
            lambda name: concat(name, '=', trim(json_extract_string(r.cells, concat('$."', name, '"'))))
        ) as others
    from (select distinct later_file_id, fields from openings) as f
    inner join line_appearances as a on f.later_file_id = a.file_id
    inner join first_seen as s on a.line_file_id = s.line_file_id and a.line_record_no = s.line_record_no
    inner join records as r on a.line_file_id = r.file_id and a.line_record_no = r.record_no
    inner join line_keys as k on a.line_file_id = k.file_id and a.line_record_no = k.record_no
    left join reading_lines as l on a.line_file_id = l.file_id and a.line_record_no = l.record_no
    where r.cells is not null
),

pairs as (
    select
        g.*,
        w.line_file_id as ruling_file_id,
        w.line_record_no as ruling_record_no,
        w.record_no as ruling_at,
        w.sampling_key as ruling_sampling_key,
        g.how = 'own'
        or (g.how = 'lot' and g.is_missing)
        or (g.how = 'day' and g.is_missing and w.day_on <= g.last_day_on)
        or (g.how = 'lot' and g.cause = 'place_unclear')
        or (g.how = 'lot' and g.cause in ('lot_unknown', 'lot_held') and w.lot_code is null)
        or (g.how = 'day' and g.cause = 'in_future')
        or (
            g.how = 'day' and g.cause in ('before_start', 'after_end')
            and (
                (day(g.day_on) = day(w.day_on) and month(g.day_on) = month(w.day_on))
                or (day(g.day_on) = day(w.day_on) and year(g.day_on) = year(w.day_on))
                or (
                    year(g.day_on) = year(w.day_on)
                    and month(g.day_on) = day(w.day_on)
                    and day(g.day_on) = month(w.day_on)
                )
            )
        ) as is_believed
    from old_lines as g
    inner join new_lines as w
        on
            g.later_file_id = w.later_file_id
            and g.fields = w.fields
            and g.others = w.others
            and g.file_id < w.first_file_id
),

single_twins as (
    select *
    from pairs
    where is_believed
    qualify
        dense_rank() over (
            partition by file_id, later_file_id, how, fields, others
            order by line_file_id, line_record_no
        ) = dense_rank() over (partition by file_id, later_file_id, how, fields, others order by ruling_at)
),

sampling_sizes as (
    select
        a.file_id,
        k.sampling_key,
        count(*) as lines
    from (select distinct file_id from old_lines) as f
    inner join line_appearances as a on f.file_id = a.file_id
    inner join line_keys as k on a.line_file_id = k.file_id and a.line_record_no = k.record_no
    group by a.file_id, k.sampling_key
),

sampling_pairs as (
    select *
    from pairs
    where not is_missing and how in ('day', 'lot')
    qualify
        dense_rank() over (
            partition by file_id, later_file_id, how, sampling_key, ruling_sampling_key, others
            order by line_file_id, line_record_no
        ) = dense_rank() over (
            partition by file_id, later_file_id, how, sampling_key, ruling_sampling_key, others
            order by ruling_at
        )
),

whole_samplings as (
    select
        p.file_id,
        p.later_file_id,
        p.how,
        p.sampling_key,
        min(p.ruling_sampling_key) as ruling_sampling_key
    from (
        select
            file_id,
            later_file_id,
            how,
            sampling_key,
            ruling_sampling_key,
            count(*) as lines
        from sampling_pairs
        group by file_id, later_file_id, how, sampling_key, ruling_sampling_key
        having count(*) >= 3 and count(distinct others) > 1
    ) as p
    inner join sampling_sizes as n
        on p.file_id = n.file_id and p.sampling_key = n.sampling_key and p.lines = n.lines
    group by p.file_id, p.later_file_id, p.how, p.sampling_key
),

broken_lines as (
    select
        g.*,
        regexp_replace(lower(r.text), '[^\p{L}\p{N}]', '', 'g') as signs
    from gone_lines as g
    inner join records as r on g.line_file_id = r.file_id and g.line_record_no = r.record_no
    where r.cells is null
),

mended_lines as (
    select
        g.*,
        a.line_file_id as ruling_file_id,
        a.line_record_no as ruling_record_no,
        a.record_no as ruling_at
    from broken_lines as g
    inner join line_appearances as a on g.later_file_id = a.file_id
    inner join first_seen as s
        on a.line_file_id = s.line_file_id and a.line_record_no = s.line_record_no and g.file_id < s.file_id
    inner join records as r
        on
            a.line_file_id = r.file_id
            and a.line_record_no = r.record_no
            and starts_with(regexp_replace(lower(r.text), '[^\p{L}\p{N}]', '', 'g'), g.signs)
            -- a line that has hardly begun could be the beginning of any
            and length(regexp_replace(lower(r.text), '[^\p{L}\p{N}]', '', 'g')) <= 2 * length(g.signs)
    where r.cells is not null
    qualify
        dense_rank() over (
            partition by g.file_id, g.later_file_id, g.signs
            order by g.line_file_id, g.line_record_no
        ) = dense_rank() over (partition by g.file_id, g.later_file_id, g.signs order by a.record_no)
),

found as (
    select
        line_file_id, line_record_no, later_file_id, how, ruling_file_id, ruling_record_no, ruling_at
    from single_twins
    union all
    select
        p.line_file_id, p.line_record_no, p.later_file_id, p.how, p.ruling_file_id, p.ruling_record_no, p.ruling_at
    from sampling_pairs as p
    inner join whole_samplings as w
        on
            p.file_id = w.file_id
            and p.later_file_id = w.later_file_id
            and p.how = w.how
            and p.sampling_key = w.sampling_key
            and p.ruling_sampling_key = w.ruling_sampling_key
    union all
    select
        line_file_id, line_record_no, later_file_id, 'mended' as how, ruling_file_id, ruling_record_no, ruling_at
    from mended_lines
)

select
    line_file_id,
    line_record_no,
    later_file_id,
    how,
    ruling_file_id,
    ruling_record_no
from found
qualify
    row_number() over (
        partition by line_file_id, line_record_no, later_file_id
        order by list_position(['own', 'mended', 'day', 'lot'], how), ruling_at
    ) = 1
