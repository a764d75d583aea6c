-- Remarks on where pots were picked and on figures that may have been copied, worded as questions, never as accusations.
-- grain: one rule's remark on one sampling. key: site_id, lot_key, sampled_on, purpose, rule
-- inputs: usable_readings, samplings, record_fates, record_versions, reading_lines, files, line_appearances, policy
-- sent_again: an increment that came again under its name and is no newer version of the earlier one (or one of a later window of
-- days) brought readings of a sampling, and has others of that sampling no more: all of them count.
-- rules: pick from all over the lot, the middle and the back too (common practice); pace and late entries are house defaults.
with
lot_benches as (
    select
        site_id,
        lot_key,
        count(distinct lower(bench)) as benches
    from usable_readings
    group by site_id, lot_key
),

first_files as (
    select
        site_id,
        min(received_on) as first_received_on
    from files
    group by site_id
),

pots as (
    select
        u.site_id,
        u.lot_key,
        u.sampled_on,
        u.purpose,
        count(*) as lines,
        max(u.n_pots) as largest_line,
        count(u.bench) as with_bench,
        count(distinct lower(u.bench)) as benches,
        any_value(u.bench) as bench,
        count(u.position) as with_position,
        count(distinct lower(u.position)) as positions,
        any_value(u.position) as position,
        list_sort(list(concat_ws(' ', u.ph, u.ec_recorded_ms_cm))) as pairs,
        count(distinct concat_ws(' ', u.ph, u.ec_recorded_ms_cm)) as different_pairs,
        count(u.sampled_time) as with_time,
        count(distinct u.sampled_time) as times,
        date_diff('second', min(u.sampled_time), max(u.sampled_time)) as seconds,
        coalesce(sum(u.n_pots) filter (
            where f.received_on - u.sampled_on > p.late_entry_days and u.sampled_on >= e.first_received_on
        ), 0)::integer as late_pots,
        max(f.received_on - u.sampled_on) as days_late,
        any_value(p.late_entry_days) as late_entry_days,
        any_value(p.pace_seconds) as pace_seconds
    from usable_readings as u
    inner join files as f on u.file_id = f.file_id
    inner join first_files as e on u.site_id = e.site_id
    inner join policy as p on u.site_id = p.site_id and u.sampled_on >= p.valid_from and u.sampled_on < p.valid_to
    group by u.site_id, u.lot_key, u.sampled_on, u.purpose
),

-- routine samplings and retests follow each other; other purposes are compared among themselves
ordered as (
    select
        *,
        lag(pairs) over series as pairs_before,
        lag(sampled_on) over series as before_on
    from pots
    window series as (
        partition by site_id, lot_key, if(purpose in ('routine', 'retest'), 'routine', purpose)
        order by sampled_on, purpose
    )
),

corrected as (
    select
        t.site_id,
        -- a line that no longer rules is not placed any more
        lower(r.lot_code) as lot_key,
        r.sampled_on,
        case when r.purpose = 'routine' and r.condition = 'affected' then 'affected' else r.purpose end as purpose,
        count(*)::integer as readings
    from record_fates as t
    inner join reading_lines as r on t.file_id = r.file_id and t.record_no = r.record_no
    inner join record_versions as v on t.file_id = v.file_id and t.record_no = v.record_no
    where t.fate = 'superseded' and t.export_kind = 'readings' and v.line_key is not null
    group by all
),

seen as (
    select
        u.site_id,
        u.lot_key,
        u.sampled_on,
        u.purpose,
        u.file_id,
        u.record_no,
        f.export_no,
        min(a.file_id) as first_file_id,
        max(a.file_id) as last_file_id
    from usable_readings as u
    inner join files as f on u.file_id = f.file_id
    inner join line_appearances as a on u.file_id = a.line_file_id and u.record_no = a.line_record_no
    where f.mode = 'increment'
    group by all
),

sent_again as (
    select
        w.site_id,
        w.lot_key,
        w.sampled_on,
        w.purpose,
        count(distinct concat_ws('.', w.file_id, w.record_no))::integer as readings,
        count(distinct concat_ws('.', g.file_id, g.record_no))::integer as earlier,
        min(n.name) as name
    from seen as g
    inner join seen as w
        on
            g.site_id = w.site_id
            and g.lot_key = w.lot_key
            and g.sampled_on = w.sampled_on
            and g.purpose = w.purpose
            and g.export_no = w.export_no
            and g.last_file_id < w.first_file_id
    inner join files as o on g.last_file_id = o.file_id
    inner join files as n on w.first_file_id = n.file_id and o.name = n.name
    group by w.site_id, w.lot_key, w.sampled_on, w.purpose
),

joined as (
    select
        o.*,
        r.readings as sent_again,
        r.earlier as sent_before,
        r.name as sent_in,
        s.n_pots,
        s.min_pots,
        b.benches as lot_benches,
        coalesce(c.readings, 0) as corrected
    from ordered as o
    inner join samplings as s
        on o.site_id = s.site_id and o.lot_key = s.lot_key and o.sampled_on = s.sampled_on and o.purpose = s.purpose
    inner join lot_benches as b on o.site_id = b.site_id and o.lot_key = b.lot_key
    left join corrected as c
        on o.site_id = c.site_id and o.lot_key = c.lot_key and o.sampled_on = c.sampled_on and o.purpose = c.purpose
    left join sent_again as r
        on o.site_id = r.site_id and o.lot_key = r.lot_key and o.sampled_on = r.sampled_on and o.purpose = r.purpose
)

select
    site_id, lot_key, sampled_on, purpose, 'one_bench' as rule, 'note' as level,
    with_bench::integer as pots,
    n_pots as of_pots,
    null::double as low,
    null::double as high,
    null::double as a,
    null::double as b,
    bench as what
from joined where with_bench >= min_pots and with_bench = lines and benches = 1 and lot_benches > 1
union all
select
    site_id, lot_key, sampled_on, purpose, 'one_position', 'note', with_position::integer, n_pots,
    null, null, null, null, position
from joined where with_position >= min_pots and with_position = lines and positions = 1
union all
select
    site_id, lot_key, sampled_on, purpose, 'same_as_before', 'warn', n_pots, n_pots,
    null, null, null, null, before_on::varchar
from joined
-- equal pots within the sampling are asked about by themselves
where pairs = pairs_before and lines >= min_pots and largest_line = 1 and different_pairs > 1
union all
select
    site_id, lot_key, sampled_on, purpose, 'too_fast', 'warn', n_pots, n_pots,
    pace_seconds::double, null, seconds::double / (lines - 1), null, null
from joined
-- one time for the whole sampling says nothing about its pace
where with_time = lines and lines >= 5 and times > 1 and seconds < pace_seconds * (lines - 1)
union all
select
    site_id, lot_key, sampled_on, purpose, 'entered_late', 'note', late_pots, n_pots,
    null, late_entry_days::double, days_late::double, null, null
from joined where late_pots > 0
union all
select
    site_id, lot_key, sampled_on, purpose, 'reading_corrected', 'note', corrected, n_pots,
    null, null, null, null, null
from joined where corrected > 0
union all
select
    site_id, lot_key, sampled_on, purpose, 'sent_again', 'warn', sent_again, n_pots,
    null, null, sent_before::double, null, sent_in
from joined where sent_again > 0
