"""The trades: what each knows of its quantities, calculations, hazards, sheets and reports."""

UNNAMED = "combustion"
"""The trade of a procedure that names none: those written before procedures named their trade."""
