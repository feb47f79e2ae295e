"""Handsfree: leads a heating technician through combustion set-up by voice and keeps the record."""

__version__ = "0.1.0"
