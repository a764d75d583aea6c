-- What a corrected setting changed in the files that were read again: value by value, and line by line what became of them.

-- grain: one value of one line that a reading anew changed. key: night_no, file_id, line_from, field
-- Only where the line stands first: files that repeat it change with it. Values as text, without zeros at the end of a figure;
-- null where there was none, or is none any more.
create table reread_values (
    night_no integer not null,
    file_id integer not null,
    line_from integer not null,
    field varchar not null,
    value_before varchar,
    value_after varchar
);

-- grain: one line whose fate is another one after its file was read again. key: night_no, file_id, line_from
-- Null where no record begins at this line (a note over several lines, say).
create table reread_fates (
    night_no integer not null,
    file_id integer not null,
    line_from integer not null,
    fate_before varchar,
    cause_before varchar,
    fate_after varchar,
    cause_after varchar
);
