"""From a reported figure back to file and line: every conversion, exclusion, sum and measure shown."""

from pipeline.trace.lot import find_site, trace_lot, write_trace

__all__ = ["find_site", "trace_lot", "write_trace"]
