-- What a line says, apart from how it is written.

-- content: the cells of the columns that are read, trimmed and unquoted, in the order of the file; null where that is the
-- text itself, or the text stands elsewhere (same_as). nth is counted by it: the how manieth data record that says this.
alter table records add column content varchar;
