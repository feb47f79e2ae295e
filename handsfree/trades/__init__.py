"""The trades: what each knows of its quantities, calculations, hazards, sheets and reports."""

from typing import Final

DEFAULT_TRADE: Final = "combustion"
"""The trade of files that name none."""
