-- Samplings of a file in which a pot's number comes twice, so that it does not tell which pot a line is of.
-- grain: one lot, day and purpose of one file whose settings do not say whether pots are numbered. key: file_id, lot_key, sampled_on, purpose
-- inputs: files, line_appearances, reading_lines
-- rule (ours): pots are numbered where their numbers are distinct within lot, day and purpose, unless the settings say otherwise.
select
    a.file_id,
    lower(g.lot_code) as lot_key,
    g.sampled_on,
    g.purpose,
    count(*)::integer as lines
from line_appearances as a
inner join files as f on a.file_id = f.file_id
inner join reading_lines as g on a.line_file_id = g.file_id and a.line_record_no = g.record_no
where
    f.kind = 'readings' and f.numbers_pots is null
    and g.lot_code is not null and g.sampled_on is not null and g.pot is not null
group by a.file_id, lower(g.lot_code), g.sampled_on, g.purpose
having count(*) > count(distinct lower(g.pot))
