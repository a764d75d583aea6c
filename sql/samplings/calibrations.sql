-- Meter checks, and whether each can be accepted.
-- grain: one stage of one calibration line. key: file_id, record_no, stage
-- inputs: record_fates, calibration_lines, buffer_readings, electrode_fits, policy
-- stage: as_found is how the meter stood before somebody adjusted it, as_left how it stood after. A line that holds both is
-- two checks, the first of which looks back and the second forward; a line that does not say is as_left, or as_found
-- where it has nothing but buffers as found.
-- rule: slope 85-105 % and offset at pH 7 within 30 mV (published: worked sheet "How to calculate offset and slope"), stated or
-- worked out from mV; buffers within 0.1 pH of their value at their temperature and the EC standard within 5 % (house
-- defaults); a check that its own site calls failed is failed.
with
errors as (
    select
        file_id,
        record_no,
        count(found_ph) as n_found,
        count(left_ph) as n_left,
        min(label) as lowest_label,
        max(label) as highest_label,
        bool_or(is_temperature_assumed) as is_temperature_assumed,
        max(round(abs(found_ph::double - buffer_ph), 4))::decimal(9, 4) as found_error_ph,
        max(round(abs(left_ph::double - buffer_ph), 4))::decimal(9, 4) as left_error_ph
    from buffer_readings
    group by file_id, record_no
),

lines as (
    select
        f.site_id,
        c.*,
        e.found_error_ph,
        e.left_error_ph,
        e.is_temperature_assumed,
        coalesce(e.n_found, 0) > 0 or (c.ec_found_ms_cm is not null and c.ec_left_ms_cm is not null) as has_found,
        coalesce(e.n_left, 0) > 0
        or t.n_buffers is not null
        or c.slope_pct is not null
        or c.offset_mv is not null
        or c.ec_left_ms_cm is not null as has_left,
        t.slope_pct as fitted_slope_pct,
        t.offset_mv as fitted_offset_mv,
        try_cast(regexp_extract_all(replace(c.buffers, ',', '.'), '\d+(?:\.\d+)?') as decimal(6, 3)[]) as labels,
        e.lowest_label,
        e.highest_label
    from record_fates as f
    inner join calibration_lines as c on f.file_id = c.file_id and f.record_no = c.record_no
    left join errors as e on f.file_id = e.file_id and f.record_no = e.record_no
    left join electrode_fits as t on f.file_id = t.file_id and f.record_no = t.record_no
    where f.fate = 'accepted'
),

staged as (
    select
        * exclude (stage),
        unnest(
            case
                when stage = 'as_found' then ['as_found']
                when stage = 'as_left' then ['as_left']
                when has_found and has_left then ['as_found', 'as_left']
                when has_found then ['as_found']
                else ['as_left']
            end
        ) as stage,
        coalesce(stage, 'both') = 'both' and has_found and has_left as is_of_two
    from lines
),

read as (
    select
        site_id,
        meter_id,
        calibrated_on,
        calibrated_time,
        file_id,
        record_no,
        stage,
        case stage when 'as_found' then 1 else 2 end as stage_no,
        person,
        note,
        temperature_c,
        coalesce(is_temperature_assumed, false) as is_temperature_assumed,
        solution,
        solution_expires_on,
        -- a worn electrode was worn before anybody adjusted it: its slope and offset judge both, and are told once
        coalesce(slope_pct, fitted_slope_pct) as electrode_slope_pct,
        coalesce(offset_mv, fitted_offset_mv) as electrode_offset_mv,
        case when not is_of_two or stage = 'as_left' then coalesce(slope_pct, fitted_slope_pct) end as slope_pct,
        case when not is_of_two or stage = 'as_left' then coalesce(offset_mv, fitted_offset_mv) end as offset_mv,
        slope_pct is null and fitted_slope_pct is not null and (not is_of_two or stage = 'as_left')
            as is_slope_computed,
        case when stage = 'as_found' then found_error_ph else left_error_ph end as worst_error_ph,
        ec_standard_ms_cm,
        case
            when stage = 'as_found' then ec_found_ms_cm
            when is_of_two then ec_left_ms_cm
            else coalesce(ec_left_ms_cm, ec_found_ms_cm)
        end as ec_found_ms_cm,
        coalesce(list_min(labels), case when lowest_label < highest_label then lowest_label end) as lowest_buffer,
        coalesce(list_max(labels), case when lowest_label < highest_label then highest_label end) as highest_buffer,
        case when not is_of_two or stage = 'as_left' then passed end as passed
    from staged
)

select
    c.* exclude (electrode_slope_pct, electrode_offset_mv),
    coalesce(c.passed, true)
    and coalesce(c.electrode_slope_pct between p.slope_low_pct and p.slope_high_pct, true)
    and coalesce(abs(c.electrode_offset_mv) <= p.offset_limit_mv, true)
    and coalesce(c.worst_error_ph <= p.buffer_limit_ph, true)
    and coalesce(
        abs(c.ec_found_ms_cm - c.ec_standard_ms_cm) <= p.ec_standard_share * c.ec_standard_ms_cm, true
    ) as is_accepted,
    coalesce(c.slope_pct < p.slope_low_pct or c.slope_pct > p.slope_high_pct, false) as is_slope_failed,
    coalesce(abs(c.offset_mv) > p.offset_limit_mv, false) as is_offset_failed,
    coalesce(c.worst_error_ph > p.buffer_limit_ph, false) as is_buffer_failed,
    coalesce(
        abs(c.ec_found_ms_cm - c.ec_standard_ms_cm) > p.ec_standard_share * c.ec_standard_ms_cm, false
    ) as is_ec_failed,
    coalesce(c.slope_pct < p.slope_warn_low_pct or c.slope_pct > p.slope_warn_high_pct, false) as is_slope_marginal,
    coalesce(c.solution_expires_on < c.calibrated_on, false) as is_solution_expired
from read as c
inner join policy as p
    on c.site_id = p.site_id and c.calibrated_on >= p.valid_from and c.calibrated_on < p.valid_to
