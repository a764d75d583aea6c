-- Lines of the sampling sheet, filled in: which due each of them answers.

-- due_why, due_on: the due that the sheet was printed for; null on a line that somebody added, and in other exports.
-- is_purpose_blank: a line of a sheet says nothing of what its pot was read for, so purpose is routine by default; null in
-- other exports.
alter table reading_lines add column due_why varchar;
alter table reading_lines add column due_on date;
alter table reading_lines add column is_purpose_blank boolean;
