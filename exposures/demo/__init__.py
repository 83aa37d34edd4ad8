"""The demonstration: an invented club with a season of invented exposures, and one container worked through."""
