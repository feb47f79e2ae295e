"""How long hearing a visit again may take; apart from the work, whose imports take seconds."""

LONGEST_S = 3 * 3600.0
"""Within its own length on one core: no visit is longer than a working day."""
