"""The DuckDB warehouse: the only part that touches the database file."""
