-- Which migrations this file has seen.
create table if not exists schema_migrations (name varchar primary key)
