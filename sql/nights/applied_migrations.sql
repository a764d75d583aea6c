-- Migrations that were run on this file.
select name
from schema_migrations
