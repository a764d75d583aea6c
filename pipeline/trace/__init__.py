"""From a reported figure back to file and line: every conversion, exclusion, sum and measure shown."""

from pipeline.trace.find import find_site
from pipeline.trace.lot import trace_lot, write_trace
from pipeline.trace.site import trace_site, write_site_trace

__all__ = ["find_site", "trace_lot", "trace_site", "write_site_trace", "write_trace"]
