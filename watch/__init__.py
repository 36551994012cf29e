"""nightorders: a forecast-driven squall and front watch for a sailor alone."""

__version__ = "0.1.0"
