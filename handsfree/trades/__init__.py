"""The trades: what each knows of its quantities, calculations, hazards, sheets and reports."""
