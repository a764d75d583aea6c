"""The warehouse's tables for whatever people use next: Parquet, CSV or XLSX, with a dictionary of every column."""

from pipeline.tables.run import TablesResult, describe_tables, tell_tables, write_tables

__all__ = ["TablesResult", "describe_tables", "tell_tables", "write_tables"]
