-- Standing lots that were sampled after their last counting sampling, with too few usable pots.
-- grain: one such lot, with its newest sampling. key: site_id, lot_key
-- inputs: standing_lots, samplings, usable_readings, reading_lots, reading_lines, record_fates
-- held_lines: held lines of the lot that may complete it: of its day, or of a day that cannot be read in a file that has readings of it;
-- null: none
with
newest as (
    select
        l.site_id,
        l.lot_key,
        max(s.sampled_on) as sampled_on,
        arg_max(s.n_ph, s.sampled_on) as n,
        arg_max(s.min_pots, s.sampled_on) as min_pots
    from standing_lots as l
    inner join samplings as s
        on
            l.site_id = s.site_id
            and l.lot_key = s.lot_key
            and s.purpose in ('routine', 'retest')
            and not s.is_counting
            and s.sampled_on > coalesce(l.last_counting_on, date '0001-01-01')
    group by l.site_id, l.lot_key
),

files_of_the_day as (
    select distinct
        n.site_id,
        n.lot_key,
        u.file_id
    from newest as n
    inner join usable_readings as u
        on n.site_id = u.site_id and n.lot_key = u.lot_key and n.sampled_on = u.sampled_on
),

held as (
    select
        n.site_id,
        n.lot_key,
        count(*)::integer as held_lines
    from newest as n
    inner join reading_lots as t on n.site_id = t.site_id and n.lot_key = t.lot_key
    inner join record_fates as f on t.file_id = f.file_id and t.record_no = f.record_no and f.fate = 'held'
    inner join reading_lines as r on t.file_id = r.file_id and t.record_no = r.record_no
    left join files_of_the_day as d on n.site_id = d.site_id and n.lot_key = d.lot_key and r.file_id = d.file_id
    where r.sampled_on = n.sampled_on or (r.sampled_on is null and d.file_id is not null)
    group by n.site_id, n.lot_key
)

select
    n.site_id,
    n.lot_key,
    n.sampled_on,
    n.n,
    n.min_pots,
    h.held_lines
from newest as n
left join held as h on n.site_id = h.site_id and n.lot_key = h.lot_key
