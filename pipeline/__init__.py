"""Leachbook reads greenhouse sites' exports every night, judges the root zone and prints reports."""

__version__ = "0.1.0"
