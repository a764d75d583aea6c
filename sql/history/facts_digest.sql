-- One figure for all facts that count tonight: equal facts give equal figures on any machine and number of cores.
-- Sums of md5 numbers do not depend on order; counts stand beside them. A row printed as text keeps its empty places, so a
-- value in another column is another fact.
with
facts as (
    select
        row(
            'lot',
            site_id,
            lot_key,
            lot_id,
            is_usable,
            house,
            bench,
            crop,
            cultivar,
            container_class,
            started_on,
            start_kind, ends_on, plants, grower_id, substrate, irrigation, feed_mode
        )::varchar as line
    from current_lots
    union all
    select
        row(
            'lot_fact', site_id, lot_key, valid_from, valid_to, event, parent_key, is_usable, house, bench,
            container_class, plants, substrate, feed_mode
        )::varchar as line
    from lot_facts
    union all
    select
        row(
            'treatment', site_id, lot_key, treated_on, treated_time, treatment, product, rate, person, note
        )::varchar as line
    from treatments
    union all
    select
        row(
            'feed_check', site_id, checked_on, checked_time, place, house, injector, ec_25_ms_cm, ph,
            alkalinity_mg_l, nitrogen_ppm, target_ec_ms_cm, person, note
        )::varchar as line
    from feed_checks
    union all
    select
        row(
            'exemption', site_id, lot_key, purpose, from_on, until_on, reason, person, entered_on, note
        )::varchar as line
    from exemptions
    union all
    select
        row(
            'planting', site_id, lot_key, crop, cultivar, house, bench, planted_on, ships_on, plants, note
        )::varchar as line
    from plantings
    union all
    select row('person', site_id, person_key, role, trained_on, trained_by, until_on, note)::varchar as line
    from people
    union all
    select
        row(
            'reading',
            site_id,
            lot_key,
            sampled_on,
            sampled_time,
            purpose,
            pot,
            position,
            bench,
            n_pots,
            ph,
            ph_sd,
            ec_recorded_ms_cm,
            ec_25_ms_cm,
            ec_sd_ms_cm,
            poured_ml,
            leachate_ml,
            temperature_c,
            drain_min,
            condition,
            sampler,
            meter_id, method, note, poured_with, poured_ec_ms_cm
        )::varchar as line
    from usable_readings
    union all
    select row('answered_due', site_id, lot_key, sampled_on, purpose, due_why, due_on, pots)::varchar as line
    from answered_dues
    union all
    select
        row(
            'calibration', site_id, meter_id, calibrated_on, calibrated_time, slope_pct, offset_mv,
            ec_standard_ms_cm, ec_found_ms_cm, stage, worst_error_ph, solution, solution_expires_on, is_accepted
        )::varchar as line
    from calibrations
    union all
    select row('fate', f.site_id, n.sha256, n.name, f.record_no, f.fate, f.cause)::varchar as line
    from record_fates as f
    inner join files as n on f.file_id = n.file_id
    union all
    select row('trouble', t.site_id, t.name, t.code)::varchar as line
    from file_troubles as t
    inner join run as r on t.night_no = r.night_no
)

select
    count(*)::varchar
    || ':' || coalesce(sum(md5_number_lower(line)), 0)::varchar
    || ':' || coalesce(sum(md5_number_upper(line)), 0)::varchar as figure
from facts
