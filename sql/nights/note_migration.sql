-- One migration more.
insert into schema_migrations (name) values ($name)
