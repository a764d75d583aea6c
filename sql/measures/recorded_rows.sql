-- Pots whose row on a bench of the map is written down, and how many of them stood in the front row.
-- grain: one number of parts into which a site's benches fall. key: site_id, parts
-- inputs: usable_readings, lot_facts, current_lots, benches, policy, run
-- parts: a bench's rows; where a word says front, middle or back, three, or the two rows of a bench with two (house default)
-- rules: readings of the policy's last question_days, of one pot each, on benches of two rows or more. Affected plants and the
-- healthy ones beside them are picked for what they are, not by lot, and stay out.
-- A position is read as row and place along it (2-7, 2-7 edge as a sheet has it, 2/7, R2 C7, row 2 place 7, fila 2 columna 7,
-- Reihe 2 Platz 7), as a row, or as one of the words below; a number alone is a place of a bench without rows. What lies
-- outside of the bench is not counted.
with
placed as (
    select
        u.site_id,
        u.sampled_on,
        b.bench_rows,
        b.bench_columns,
        lower(trim(u.position)) as written
    from usable_readings as u
    inner join current_lots as l on u.site_id = l.site_id and u.lot_key = l.lot_key
    left join lot_facts as h
        on
            u.site_id = h.site_id
            and u.lot_key = h.lot_key
            and u.sampled_on >= h.valid_from
            and u.sampled_on < h.valid_to
    cross join run as t
    inner join policy as p on u.site_id = p.site_id and t.as_of >= p.valid_from and t.as_of < p.valid_to
    inner join benches as b
        on
            u.site_id = b.site_id
            and lower(trim(coalesce(h.house, l.house))) = b.house_key
            and lower(trim(coalesce(u.bench, h.bench, l.bench))) = b.bench_key
    where
        u.sampled_on between t.as_of - p.question_days + 1 and t.as_of
        and u.n_pots = 1
        and u.purpose not in ('affected', 'healthy')
        and b.bench_rows >= 2
),

patterns as (
    select
        '^0*([0-9]{1,4}) *[-–/:] *0*([0-9]{1,4})(?: +(?:edge|inside))?$' as two_numbers,
        '^(?:row|r|fila|f|reihe)[ .]*0*([0-9]{1,4})'
        || '(?:[ ,;/:-]*(?:place|pl|p|column|col|c|columna|lugar|sitio|platz|spalte|s)[ .]*0*([0-9]{1,4}))?$' as named
),

cut as (
    select
        p.*,
        try_cast(
            coalesce(nullif(regexp_extract(p.written, t.two_numbers, 1), ''), regexp_extract(p.written, t.named, 1))
            as integer
        ) as row_no,
        try_cast(
            coalesce(nullif(regexp_extract(p.written, t.two_numbers, 2), ''), regexp_extract(p.written, t.named, 2))
            as integer
        ) as column_no,
        case
            when p.written in ('front', 'front row', 'vorn', 'vorne', 'delante', 'adelante', 'al frente') then 'front'
            when p.written in ('middle', 'centre', 'center', 'mitte', 'medio', 'en medio', 'centro') then 'middle'
            when p.written in ('back', 'back row', 'rear', 'hinten', 'atrás', 'atras', 'al fondo') then 'back'
        end as word
    from placed as p
    cross join patterns as t
),

known as (
    select
        site_id,
        sampled_on,
        if(word is null, bench_rows, least(bench_rows, 3)) as parts,
        if(word is null, row_no = 1, word = 'front') as is_front
    from cut
    where
        (row_no between 1 and bench_rows and coalesce(column_no between 1 and bench_columns, true))
        or word in ('front', 'back')
        or (word = 'middle' and bench_rows >= 3)
)

select
    site_id,
    parts,
    count(*)::integer as pots,
    count(*) filter (where is_front)::integer as in_front,
    min(sampled_on) as first_on
from known
group by site_id, parts
order by site_id, parts
