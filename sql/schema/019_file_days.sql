-- Days that stand in the names of files, worked out each night: how a site writes its dates may have been mended.

-- grain: one file. Emptied and filled each night. key: file_id
-- named_day: null where the name names no day
create table file_days (
    file_id integer not null,
    named_day date
);
