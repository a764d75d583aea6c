-- What a meter showed in each buffer, beside the pH of that buffer at its temperature.
-- grain: one buffer of one calibration line. key: file_id, record_no, slot
-- inputs: calibration_lines, named_buffers, buffer_values
-- slot: 4, 7 or 10, the fields of the export. The label is the one that `buffers` names near the slot, else 4.01, 7.00, 10.01.
-- units: pH, mV, °C. source of the buffers: JIS Z 8802 and Foxboro MI 611-211 (read), straight lines between their rows;
-- a label may round, so 7.01 and 10.00 are the buffers 7.00 and 10.01. No temperature: taken as 25 °C.
-- buffer_ph is null for a label that the table does not have and outside of 0 to 50 °C.
with
slots as (
    select
        c.file_id,
        c.record_no,
        coalesce(c.temperature_c, 25) as temperature_c,
        c.temperature_c is null as is_temperature_assumed,
        n.labels,
        unnest([4, 7, 10]) as slot,
        unnest([4.01, 7.00, 10.01]::decimal(6, 3)[]) as usual_label,
        unnest([c.found_4_ph, c.found_7_ph, c.found_10_ph]) as found_ph,
        unnest([c.left_4_ph, c.left_7_ph, c.left_10_ph]) as left_ph,
        unnest([c.buffer_4_mv, c.buffer_7_mv, c.buffer_10_mv]) as mv
    from calibration_lines as c
    left join named_buffers as n on c.file_id = n.file_id and c.record_no = n.record_no
),

labelled as (
    select
        * exclude (labels, usual_label),
        coalesce(
            list_filter(labels, lambda label: label between slot - 1.0 and slot + 1.0)[1], usual_label
        ) as label
    from slots
    where found_ph is not null or left_ph is not null or mv is not null
),

known as (
    select distinct buffer from buffer_values
),

named as (
    select
        l.file_id,
        l.record_no,
        l.slot,
        arg_min(b.buffer, abs(b.buffer - l.label)) as buffer
    from labelled as l
    inner join known as b on abs(b.buffer - l.label) <= 0.011
    group by l.file_id, l.record_no, l.slot
)

select
    l.file_id,
    l.record_no,
    l.slot,
    l.label,
    l.temperature_c,
    l.is_temperature_assumed,
    case
        when l.temperature_c <= 50
            then
                b.ph::double
                + (coalesce(a.ph, b.ph)::double - b.ph::double) * (l.temperature_c::double - b.temperature_c) / 5
    end as buffer_ph,
    l.found_ph,
    l.left_ph,
    l.mv
from labelled as l
left join named as n on l.file_id = n.file_id and l.record_no = n.record_no and l.slot = n.slot
left join buffer_values as b on n.buffer = b.buffer and b.temperature_c = floor(l.temperature_c::double / 5) * 5
left join buffer_values as a on n.buffer = a.buffer and a.temperature_c = floor(l.temperature_c::double / 5) * 5 + 5
