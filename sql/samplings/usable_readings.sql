-- Accepted readings with their lot, EC brought to 25 °C, and what each may be used for.
-- grain: one accepted reading line. key: file_id, record_no
-- inputs: record_fates, reading_lines, reading_lots, current_lots, lot_facts, policy, policy_containers, meter_days
-- units: EC mS/cm at 25 °C, volumes mL
-- rules: EC25 = EC / (1 + alpha (T - 25)) where the meter does not compensate (Standard Methods 2510, from memory; formula
-- read in a conductivity-logger manual); volume tolerances are house defaults around volumes of common practice;
-- an affected pot inside a routine sampling is kept apart (published: sample affected and healthy plants separately).
-- due_why, due_on: the due that the line of a sheet was printed for
with
joined as (
    select
        f.site_id,
        m.lot_key,
        r.*,
        coalesce(h.container_class, l.container_class) as container_class,
        l.lot_id,
        p.volume_warn_share,
        p.volume_exclude_over,
        p.volume_exclude_under,
        p.pour_warn_share,
        p.ec_alpha_per_c,
        c.pour_ml,
        c.leachate_low_ml,
        c.leachate_high_ml,
        c.min_usable_pots,
        c.drain_low_min,
        c.drain_high_min
    from record_fates as f
    inner join reading_lines as r on f.file_id = r.file_id and f.record_no = r.record_no
    inner join reading_lots as m on f.file_id = m.file_id and f.record_no = m.record_no
    inner join current_lots as l on f.site_id = l.site_id and m.lot_key = l.lot_key
    -- a lot that was potted on is read by the recipe of the container it stood in that day
    left join lot_facts as h
        on
            f.site_id = h.site_id
            and m.lot_key = h.lot_key
            and r.sampled_on >= h.valid_from
            and r.sampled_on < h.valid_to
    inner join policy as p on f.site_id = p.site_id and r.sampled_on >= p.valid_from and r.sampled_on < p.valid_to
    inner join policy_containers as c
        on
            f.site_id = c.site_id
            and coalesce(h.container_class, l.container_class) = c.container_class
            and r.sampled_on >= c.valid_from
            and r.sampled_on < c.valid_to
    where f.fate = 'accepted' and f.export_kind = 'readings'
),

-- What the sheets of a lot say their pots were read for on a day.
named_purposes as (
    select
        site_id,
        lot_key,
        sampled_on,
        list(distinct purpose) as purposes
    from joined
    where is_purpose_blank = false
    group by site_id, lot_key, sampled_on
),

-- A pot that somebody added to a sheet without a purpose is one of the lot's sampling of that day.
purposed as (
    select
        j.*,
        case
            when j.is_purpose_blank and len(n.purposes) = 1 then n.purposes[1]
            when j.is_purpose_blank and list_contains(n.purposes, j.condition) then j.condition
            else j.purpose
        end as own_purpose
    from joined as j
    left join named_purposes as n
        on j.site_id = n.site_id and j.lot_key = n.lot_key and j.sampled_on = n.sampled_on
),

judged as (
    select
        j.*,
        case when j.own_purpose = 'routine' and j.condition = 'affected' then 'affected' else j.own_purpose end
            as effective_purpose,
        case
            when j.ec_compensated then j.ec_ms_cm
            -- nor is a figure a temperature of leachate outside of 0 to 50 °C (house default); 72 may be °F
            when j.temperature_c between 0 and 50
                then round(j.ec_ms_cm / (1 + j.ec_alpha_per_c * (j.temperature_c - 25)), 4)::decimal(9, 4)
        end as ec_25_ms_cm,
        j.leachate_ml > j.leachate_high_ml * (1 + j.volume_warn_share) as is_over_collected,
        j.leachate_ml < j.leachate_low_ml * (1 - j.volume_warn_share) as is_under_collected,
        coalesce(j.leachate_ml > j.leachate_high_ml * j.volume_exclude_over, false) as is_excluded_over,
        coalesce(j.leachate_ml < j.leachate_low_ml * j.volume_exclude_under, false) as is_excluded_under
    from purposed as j
)

select
    j.site_id,
    j.lot_key,
    j.lot_id,
    j.file_id,
    j.record_no,
    j.sampled_on,
    j.sampled_time,
    j.effective_purpose as purpose,
    j.purpose as recorded_purpose,
    j.pot,
    j.position,
    j.bench,
    j.n_pots,
    j.ph,
    j.ph_sd,
    j.ec_ms_cm as ec_recorded_ms_cm,
    j.ec_25_ms_cm,
    j.ec_sd_ms_cm,
    j.poured_ml,
    j.poured_with,
    j.poured_ec_ms_cm,
    j.leachate_ml,
    j.temperature_c,
    j.drain_min,
    j.condition,
    j.sampler,
    j.meter_id,
    j.method,
    j.note,
    j.due_why,
    j.due_on,
    j.ec_compensated,
    j.pour_ml,
    j.leachate_low_ml,
    j.leachate_high_ml,
    j.min_usable_pots,
    j.drain_low_min,
    j.drain_high_min,
    j.ph is not null as is_usable_ph,
    j.ec_25_ms_cm is not null and not j.is_excluded_over and not j.is_excluded_under as is_usable_ec,
    case
        when j.ec_ms_cm is null then 'not_measured'
        when j.ec_25_ms_cm is null then 'no_temperature'
        when j.is_excluded_over then 'over_collected'
        when j.is_excluded_under then 'under_collected'
    end as why_not_ec,
    coalesce(j.is_over_collected, false) as is_over_collected,
    coalesce(j.is_under_collected, false) as is_under_collected,
    j.leachate_ml is null as is_without_volume,
    coalesce(abs(j.poured_ml - j.pour_ml) > j.pour_ml * j.pour_warn_share, false) as is_poured_off_recipe,
    coalesce(j.leachate_ml > j.poured_ml, false) as is_more_than_poured,
    coalesce(j.poured_with not in ('distilled', 'deionised') and j.poured_ec_ms_cm is null, false)
        as is_poured_not_distilled,
    coalesce(j.drain_min < j.drain_low_min or j.drain_min > j.drain_high_min, false) as is_drained_off_recipe,
    coalesce(d.is_calibrated, false) as is_meter_calibrated,
    coalesce(d.is_in_doubt, false) as is_meter_in_doubt
from judged as j
left join meter_days as d
    on j.site_id = d.site_id and j.meter_id = d.meter_id and j.sampled_on = d.used_on
