"""The service a pinhole-photography club runs."""

__version__ = "0.1.0"
