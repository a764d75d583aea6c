-- What became of every physical record that the sites ever sent, worked out anew from all that is known tonight.
-- grain: one record. key: file_id, record_no
-- inputs: sites, files, replaced_files, records, record_problems, record_versions, reading_lots, reading_lines, current_lots, calibration_lines, kind_causes, run
-- fate: accepted, held, repeated, superseded, withdrawn, not_data. A held record has one cause, the first of a fixed order;
-- `what` names the thing it waits for.
with
coded as (
    select
        file_id,
        record_no,
        problem_no,
        code,
        field,
        sentence,
        code in ('ph_ec_swapped', 'ph_out_of_scale', 'ec_out_of_scale', 'method_missing') as is_sifted
    from record_problems
),

problems as (
    select
        *,
        row_number() over (partition by file_id, record_no, is_sifted order by problem_no) as nth
    from coded
),

unreadable as (
    select * from problems where not is_sifted and nth = 1
),

sifted as (
    select * from problems where is_sifted and nth = 1
),

checked_lines as (
    select
        m.file_id,
        m.record_no,
        r.lot_code,
        r.sampled_on as on_day,
        l.lot_id,
        l.stands_from as started_on,
        l.ends_on,
        m.fitting_lots,
        concat_ws(', ', 'house ' || r.house, 'bench ' || r.bench, r.crop) as place,
        case
            when r.sampled_on > t.as_of then 'in_future'
            when m.lot_key is null then 'place_unclear'
            when l.lot_key is null then 'lot_unknown'
            when not l.is_usable then 'lot_held'
            when r.sampled_on < l.stands_from then 'before_start'
            when r.sampled_on > l.ends_on then 'after_end'
        end as cause
    from reading_lots as m
    inner join reading_lines as r on m.file_id = r.file_id and m.record_no = r.record_no
    cross join run as t
    left join current_lots as l on m.site_id = l.site_id and m.lot_key = l.lot_key
    union all by name
    select
        c.file_id,
        c.record_no,
        c.calibrated_on as on_day,
        'in_future' as cause
    from calibration_lines as c
    cross join run as t
    where c.calibrated_on > t.as_of
    union all by name
    select * from kind_causes where cause is not null
),

causes as (
    select
        r.file_id,
        r.record_no,
        f.site_id,
        f.kind as export_kind,
        r.kind as record_kind,
        r.line_to - r.line_from + 1 as lines,
        if(o.file_id is null, v.version, 'superseded') as version,
        case
            when r.kind <> 'data' or v.version in ('repeated', 'superseded', 'withdrawn') then null
            when o.file_id is not null then null
            when w.site_id is null then 'site_removed'
            when f.problem is not null then f.problem
            else coalesce(u.code, c.cause, s.code)
        end as cause,
        case
            when w.site_id is null then null
            when f.problem is not null then f.problem_sentence
            when u.code is not null then u.sentence
            when c.cause in ('in_future', 'before_start', 'after_end')
                then printf(
                    '%s on %s',
                    case f.kind
                        when 'readings' then 'sampled'
                        when 'treatments' then 'treated'
                        when 'people' then 'trained'
                        else 'checked'
                    end,
                    strftime(c.on_day, '%Y-%m-%d')
                )
            when c.cause is null then s.sentence
        end as detail,
        case
            when w.site_id is null then f.site_id
            when f.problem is not null then f.name
            when u.code is not null then u.field
            when c.cause = 'place_unclear' then c.place
            -- a line that names no lot was found by its place
            when c.cause in ('lot_unknown', 'lot_held') then coalesce(c.lot_code, c.lot_id)
            when c.cause in ('before_start', 'after_end') then c.lot_id
            when c.cause is null then s.field
        end as what,
        c.fitting_lots,
        c.started_on,
        c.ends_on
    from records as r
    inner join files as f on r.file_id = f.file_id
    left join sites as w on f.site_id = w.site_id
    left join replaced_files as o on r.file_id = o.file_id
    left join record_versions as v on r.file_id = v.file_id and r.record_no = v.record_no
    left join unreadable as u on r.file_id = u.file_id and r.record_no = u.record_no
    left join sifted as s on r.file_id = s.file_id and r.record_no = s.record_no
    left join checked_lines as c on r.file_id = c.file_id and r.record_no = c.record_no
)

select
    file_id,
    record_no,
    site_id,
    export_kind,
    lines,
    case
        when record_kind <> 'data' then 'not_data'
        when cause is not null then 'held'
        when version = 'current' then 'accepted'
        else version
    end as fate,
    cause,
    case when cause is not null then what end as what,
    case when cause is not null then detail end as detail,
    case when cause in ('place_unclear') then fitting_lots end as fitting_lots,
    case when cause in ('before_start', 'after_end') then started_on end as started_on,
    case when cause in ('before_start', 'after_end') then ends_on end as ends_on
from causes
