"""meterlog: hands-free capture, judging and keeping of bench readings."""

__version__ = "0.3.0"
