"""A hands-free companion for tracing faults in 24 V control circuits."""

__version__ = "0.1.0"
