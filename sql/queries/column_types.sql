-- Columns of one table or relation with their types.
-- grain: one column, in the order of the table
select
    column_name,
    data_type
from duckdb_columns()
where table_name = $relation and not internal and database_name in (current_database(), 'temp')
order by column_index
