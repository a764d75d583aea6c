-- What tells one layout of an export from another, and lines that an earlier file has brought.

-- header: the cells of the header as they stand, as a JSON list; null where none could be read.
-- extra_columns: headers that no field maps, as a JSON list.
-- layout: what stands in which column, as a JSON list: the header's key where the column is read, null elsewhere. Equal texts
-- mean the same only where it is equal. Null where the file cannot be read.
alter table files add column header varchar;
alter table files add column extra_columns varchar;
alter table files add column layout varchar;

-- nth: the how manieth data record of its text in its file.
-- same_as: the record of an earlier file in the same layout and under the same settings that is the nth of this text, too.
-- Then text, cells, problems and line stand there only; a record of a file that is sent again each night takes a few bits.
alter table records add column nth integer;
alter table records add column same_as_file_id integer;
alter table records add column same_as_record_no integer;
alter table records alter column text drop not null;
