"""What records and languages are read by that were written while combustion was the only trade.

Its names stood where every trade writes today. Who reads them finds here what they are called since.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

KINDS: Final[Mapping[str, str]] = {"burner-went-out": "went-out"}
"""Kinds of events, until version 7."""

FACT: Final = "fuel"
"""What the first entry held beside the facts of the job sheet, until version 7; it is one of them."""

RECHECK: Final = "recheck-burner"
"""A question of version 2, which asks whether what runs still does."""

TIED: Final = ("co2", "o2")
"""The quantities of the question for a pair, in version 2."""

ALIKE_QUESTION: Final = "monoxide"
ALIKE: Final = ("co", "co2")
"""The quantity called, and the one that it may have been, in version 2's question for one of them."""

SECTION: Final = ("fuels", "supplies")
"""A section of a language, and its name today."""

SAYING: Final = ("pair-other-fuel", "pair-other-supply")
BLANK: Final = ("{fuel}", "{supply}")
"""A saying with its blank, and their names today."""
