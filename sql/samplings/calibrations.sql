-- Meter checks, and whether each can be accepted.
-- grain: one stage of one calibration line. key: file_id, record_no, stage
-- inputs: record_fates, calibration_lines, named_buffers, buffer_readings, electrode_fits, policy
-- stage: as_found is how the meter stood before somebody adjusted it, as_left how it stood after. A line that holds both is
-- two checks, the first of which looks back and the second forward; a line that does not say is as_left, or as_found
-- where it has nothing but buffers as found.
-- rule: slope 85-105 % and offset at pH 7 within 30 mV (published: worked sheet "How to calculate offset and slope"), stated or
-- worked out from mV; buffers within 0.1 pH of their value at their temperature and the EC standard within 5 % (house
-- defaults); a check that its own site calls failed is failed. Where EC as left is not written, what was found is what was
-- left: nothing says that the meter was adjusted (house default).
-- worst_*: the buffer that lies farthest off at this stage: shown, its label, its pH at its temperature
with
read as (
    select
        *,
        round(abs(found_ph::double - buffer_ph), 4)::decimal(9, 4) as found_error_ph,
        round(abs(left_ph::double - buffer_ph), 4)::decimal(9, 4) as left_error_ph
    from buffer_readings
),

errors as (
    select
        file_id,
        record_no,
        count(found_ph) as n_found,
        count(left_ph) as n_left,
        min(label) as lowest_label,
        max(label) as highest_label,
        bool_or(is_temperature_assumed) as is_temperature_assumed,
        max(found_error_ph) as found_error_ph,
        max(left_error_ph) as left_error_ph
    from read
    group by file_id, record_no
),

-- of buffers that are equally far off the first one
worst as (
    select
        e.file_id,
        e.record_no,
        min(r.slot) filter (where r.found_error_ph = e.found_error_ph) as found_slot,
        min(r.slot) filter (where r.left_error_ph = e.left_error_ph) as left_slot
    from errors as e
    inner join read as r on e.file_id = r.file_id and e.record_no = r.record_no
    group by e.file_id, e.record_no
),

lines as (
    select
        f.site_id,
        c.*,
        e.found_error_ph,
        e.left_error_ph,
        w.found_slot,
        w.left_slot,
        e.is_temperature_assumed,
        coalesce(e.n_found, 0) > 0 or (c.ec_found_ms_cm is not null and c.ec_left_ms_cm is not null) as has_found,
        coalesce(e.n_left, 0) > 0
        or t.n_buffers is not null
        or c.slope_pct is not null
        or c.offset_mv is not null
        or c.ec_left_ms_cm is not null as has_left,
        t.slope_pct as fitted_slope_pct,
        t.offset_mv as fitted_offset_mv,
        n.labels,
        n.file_id is not null and n.labels is null as is_buffers_unread,
        e.lowest_label,
        e.highest_label
    from record_fates as f
    inner join calibration_lines as c on f.file_id = c.file_id and f.record_no = c.record_no
    left join named_buffers as n on f.file_id = n.file_id and f.record_no = n.record_no
    left join errors as e on f.file_id = e.file_id and f.record_no = e.record_no
    left join worst as w on f.file_id = w.file_id and f.record_no = w.record_no
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

checks as (
    select
        site_id,
        meter_id,
        calibrated_on,
        calibrated_time,
        file_id,
        record_no,
        stage,
        case stage when 'as_found' then 1 else 2 end as stage_no,
        is_of_two,
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
        case when stage = 'as_found' then found_slot else left_slot end as worst_slot,
        ec_standard_ms_cm,
        case when stage = 'as_found' then ec_found_ms_cm else coalesce(ec_left_ms_cm, ec_found_ms_cm) end
            as ec_found_ms_cm,
        is_of_two and stage = 'as_left' and ec_left_ms_cm is null and ec_found_ms_cm is not null
            as is_ec_left_not_written,
        buffers,
        is_buffers_unread,
        coalesce(list_min(labels), case when lowest_label < highest_label then lowest_label end) as lowest_buffer,
        coalesce(list_max(labels), case when lowest_label < highest_label then highest_label end) as highest_buffer,
        case when not is_of_two or stage = 'as_left' then passed end as passed
    from staged
)

select
    c.* exclude (electrode_slope_pct, electrode_offset_mv, worst_slot),
    case when c.stage = 'as_found' then b.found_ph else b.left_ph end as worst_shown_ph,
    b.label as worst_label,
    b.buffer_ph as worst_buffer_ph,
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
from checks as c
inner join policy as p
    on c.site_id = p.site_id and c.calibrated_on >= p.valid_from and c.calibrated_on < p.valid_to
left join buffer_readings as b
    on c.file_id = b.file_id and c.record_no = b.record_no and c.worst_slot = b.slot
