"""leastcut: bring a finish back while spending as little clear coat as possible."""

__version__ = "0.1.0"
