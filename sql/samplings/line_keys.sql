-- What each line is about: its key where it has one, the sampling that it belongs to, its day.
-- grain: one line where it stays. key: file_id, record_no
-- inputs: line_appearances, files, repeated_pots, reading_lines, lot_lines, planting_lines, people_lines, calibration_lines, treatment_lines, feed_check_lines, exemption_lines
-- rule (ours): lots by code and the day from which the line holds, planted lots by code, people by name, numbered pots by
-- lot, day, purpose and pot. Without lot, day and pot a line says nothing about which other line it corrects.
-- sampling_key: lot (or place), day and purpose of a reading, numbered or not
select
    s.line_file_id as file_id,
    s.line_record_no as record_no,
    case
        -- lines of one lot that hold from different days are facts side by side
        when f.kind = 'lots' and l.lot_code is not null then concat_ws(chr(31), lower(l.lot_code), l.valid_from)
        when f.kind = 'plantings' then lower(t.lot_code)
        when f.kind = 'people' then lower(p.name)
        when
            f.kind = 'readings' and coalesce(f.numbers_pots, m.file_id is null)
            and g.lot_code is not null and g.sampled_on is not null and g.pot is not null
            then concat_ws(chr(31), lower(g.lot_code), g.sampled_on, g.purpose, lower(g.pot))
    end as line_key,
    case
        when g.sampled_on is not null and (g.lot_code is not null or g.house is not null)
            then concat(
                if(
                    g.lot_code is not null,
                    'lot' || chr(31) || lower(g.lot_code),
                    concat('place', chr(31), lower(g.house), chr(31), lower(g.bench), chr(31), lower(g.crop))
                ),
                chr(31), g.sampled_on, chr(31), g.purpose
            )
    end as sampling_key,
    coalesce(g.sampled_on, c.calibrated_on, d.treated_on, h.checked_on, e.from_on) as day_on
from (select distinct line_file_id, line_record_no from line_appearances) as s
inner join files as f on s.line_file_id = f.file_id
left join reading_lines as g on s.line_file_id = g.file_id and s.line_record_no = g.record_no
left join lot_lines as l on s.line_file_id = l.file_id and s.line_record_no = l.record_no
left join planting_lines as t on s.line_file_id = t.file_id and s.line_record_no = t.record_no
left join people_lines as p on s.line_file_id = p.file_id and s.line_record_no = p.record_no
left join calibration_lines as c on s.line_file_id = c.file_id and s.line_record_no = c.record_no
left join treatment_lines as d on s.line_file_id = d.file_id and s.line_record_no = d.record_no
left join feed_check_lines as h on s.line_file_id = h.file_id and s.line_record_no = h.record_no
left join exemption_lines as e on s.line_file_id = e.file_id and s.line_record_no = e.record_no
left join repeated_pots as m
    on
        s.line_file_id = m.file_id
        and lower(g.lot_code) = m.lot_key
        and g.sampled_on = m.sampled_on
        and g.purpose = m.purpose
