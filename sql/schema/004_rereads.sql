-- What changed when files were read again because their settings had changed.

-- grain: one file that one night read again. key: night_no, file_id
-- changed_lines: lines that stand in this file first and have other values than before
create table rereads (
    night_no integer not null,
    file_id integer not null,
    changed_lines integer not null
);
