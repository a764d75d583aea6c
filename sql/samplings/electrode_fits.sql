-- Slope and offset of an electrode from what it gave in its buffers.
-- grain: one calibration line with readings in mV. key: file_id, record_no
-- inputs: buffer_readings
-- rule: least squares through the buffers at their temperature; the slope in percent of the theoretical one,
-- ln(10) R T / F mV per pH (Nernst; exact SI constants), 59.16 mV at 25 °C; the offset at pH 7.00. The same as
-- pipeline/measures/electrodes.py. Two different buffers at least, all of them in the table, else null.
with
fitted as (
    select
        file_id,
        record_no,
        count(*)::integer as n_buffers,
        bool_or(buffer_ph is null) as has_unknown_buffer,
        bool_or(is_temperature_assumed) as is_temperature_assumed,
        avg(temperature_c::double) as temperature_c,
        max(buffer_ph) - min(buffer_ph) > 0.2 as is_spread,
        regr_slope(mv::double, buffer_ph) as mv_per_ph,
        regr_intercept(mv::double, buffer_ph) as mv_at_0
    from buffer_readings
    where mv is not null
    group by file_id, record_no
),

percent as (
    select
        *,
        -mv_per_ph / (ln(10) * 8.31446261815324 * (temperature_c + 273.15) / 96485.33212331 * 1000) * 100 as slope_pct,
        mv_at_0 + mv_per_ph * 7 as offset_mv
    from fitted
)

select
    file_id,
    record_no,
    n_buffers,
    is_temperature_assumed,
    -- no electrode comes near these ends; they only keep a nonsensical figure inside its column
    case
        when is_spread and not has_unknown_buffer
            then round(greatest(-9999, least(9999, slope_pct)), 2)::decimal(6, 2)
    end as slope_pct,
    case
        when is_spread and not has_unknown_buffer
            then round(greatest(-99999, least(99999, offset_mv)), 1)::decimal(6, 1)
    end as offset_mv
from percent
