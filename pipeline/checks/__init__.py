"""Checks on single records: what keeps a record out of the statistics, whatever else is known."""
