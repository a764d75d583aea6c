-- What tells one layout of an export from another, and what changed when files were read again.

-- header: the cells of the header as they stand, as a JSON list; null where none could be read.
-- extra_columns: headers that no field maps, as a JSON list.
alter table files add column header varchar;
alter table files add column extra_columns varchar;
