-- The samplings of the audited lots up to the end of the period, each with how it was done and when it was received.
-- grain: one lot on one day for one purpose. key: site_id, lot_key, sampled_on, purpose
-- inputs: audit_lots, samplings, usable_readings, files, feed_pairs, policy_containers, sampling_questions, reading_lines, record_fates, fate_history, nights, record_versions, audit_period
-- is_pair_end: second day of a complete pair around a feeding, from which the routine begins anew.
-- spread: `no` where all pots came from one bench or one kind of place, `not_shown` where neither is written down.
-- received_on: the last file with a line that counts in it. lines: how many lines it rests on. is_corrected: one of them took the
-- place of an earlier version, or was withdrawn.
-- lost_on: the night on which a correction took a sampling away that had counted till then; such a one has no line any more or
-- too few, and is listed so that nobody is blamed for a day on which it stood.
with
lines as (
    select
        u.site_id,
        u.lot_key,
        u.sampled_on,
        u.purpose,
        count(*)::integer as lines,
        min(f.received_on) as first_received_on,
        max(f.received_on) as received_on,
        count(u.bench) + count(u.position) as places,
        string_agg(distinct u.sampler, ', ' order by u.sampler) as samplers,
        string_agg(distinct u.meter_id, ', ' order by u.meter_id) as meters
    from usable_readings as u
    inner join files as f on u.file_id = f.file_id
    group by u.site_id, u.lot_key, u.sampled_on, u.purpose
),

-- lines that counted once and do not any more
gone as (
    select
        x.site_id,
        lower(r.lot_code) as lot_key,
        r.sampled_on,
        r.purpose,
        sum(coalesce(r.n_pots, 1)) filter (where r.ph is not null)::integer as pots,
        max(n.as_of) as gone_on
    from record_fates as x
    inner join reading_lines as r on x.file_id = r.file_id and x.record_no = r.record_no
    inner join fate_history as h on x.file_id = h.file_id and x.record_no = h.record_no and h.until_night is null
    inner join nights as n on h.from_night = n.night_no
    where x.fate in ('superseded', 'withdrawn') and r.lot_code is not null and r.sampled_on is not null
    group by x.site_id, lower(r.lot_code), r.sampled_on, r.purpose
),

placed as (
    select distinct
        site_id,
        lot_key,
        sampled_on,
        purpose
    from sampling_questions
    where rule in ('one_bench', 'one_position')
),

days as (
    select
        site_id,
        lot_key,
        sampled_on,
        purpose
    from samplings
    union
    select
        site_id,
        lot_key,
        sampled_on,
        purpose
    from gone
),

looked_at as (
    select
        a.site_id,
        a.lot_key,
        coalesce(s.sampled_on, g.sampled_on) as sampled_on,
        coalesce(s.purpose, g.purpose) as purpose,
        s.* exclude (site_id, lot_key, lot_id, sampled_on, purpose, min_pots),
        coalesce(s.min_pots, c.min_usable_pots) as min_pots,
        g.pots as gone_pots,
        g.gone_on
    from audit_lots as a
    inner join days as d on a.site_id = d.site_id and a.lot_key = d.lot_key
    left join policy_containers as c
        on
            a.site_id = c.site_id
            and a.container_class = c.container_class
            and d.sampled_on >= c.valid_from
            and d.sampled_on < c.valid_to
    left join samplings as s
        on
            d.site_id = s.site_id
            and d.lot_key = s.lot_key
            and d.sampled_on = s.sampled_on
            and d.purpose = s.purpose
    left join gone as g
        on
            d.site_id = g.site_id
            and d.lot_key = g.lot_key
            and d.sampled_on = g.sampled_on
            and d.purpose = g.purpose
    where d.sampled_on >= a.stands_from and d.sampled_on <= a.last_on
),

judged as (
    select
        k.*,
        p.after_on is not null and k.purpose = 'after_feed' as is_pair_end,
        case
            when n.lines is null then null
            when b.lot_key is not null then 'no'
            when n.places = 0 then 'not_shown'
            else 'yes'
        end as spread,
        n.lines,
        n.first_received_on,
        n.received_on,
        n.samplers,
        n.meters
    from looked_at as k
    left join feed_pairs as p on k.site_id = p.site_id and k.lot_key = p.lot_key and k.sampled_on = p.after_on
    left join placed as b
        on
            k.site_id = b.site_id
            and k.lot_key = b.lot_key
            and k.sampled_on = b.sampled_on
            and k.purpose = b.purpose
    left join lines as n
        on
            k.site_id = n.site_id
            and k.lot_key = n.lot_key
            and k.sampled_on = n.sampled_on
            and k.purpose = n.purpose
)

select
    site_id,
    lot_key,
    sampled_on,
    purpose,
    coalesce(is_counting, false) as is_counting,
    is_pair_end,
    coalesce(n_pots, 0)::integer as n_pots,
    coalesce(n_ph, 0)::integer as n_ph,
    coalesce(n_ec, 0)::integer as n_ec,
    min_pots,
    coalesce(n_volume_right, 0)::integer as n_volume_right,
    coalesce(n_volume_right >= min_pots, false) as is_volume_right,
    case
        when is_meter_in_doubt then 'no'
        when not coalesce(has_calibrations, false) then 'not_shown'
        when is_meter_calibrated then 'yes'
        else 'no'
    end as calibrated,
    coalesce(proper, 'no') as proper,
    spread,
    samplers,
    meters,
    coalesce(lines, 0)::integer as lines,
    first_received_on,
    received_on,
    gone_on is not null as is_corrected,
    case
        when not coalesce(is_counting, false) and gone_pots + coalesce(n_ph, 0) >= min_pots
            then gone_on
    end as lost_on
from judged
