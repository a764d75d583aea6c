-- Tables of one attached database (the connection's own where none is named), each with its columns in their order.
select
    table_name,
    list(column_name order by column_index) as column_names
from duckdb_columns()
where database_name = coalesce($database, current_database()) and schema_name = 'main' and not internal
group by table_name
order by table_name
