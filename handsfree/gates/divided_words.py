"""Words that may be one value or two: which of them is asked, never split silently."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from handsfree.gates.visit import Visit
from handsfree.lexicon.meaning import Values
from handsfree.questions.kind import Scope
from handsfree.questions.which_division import WhichDivision
from handsfree.questions.which_value import WhichValue

SAID = 2
"""More ways to divide the same words are not said: the values are then asked for one by one."""


def ask_division(visit: Visit, divisions: Sequence[Values], otherwise: str) -> None:
    """Ask whether words called one value or two; where they may be divided in more ways, for a quantity alone."""
    counts = {len(each.values) for each in divisions}
    plain = all(isinstance(value, Decimal) for each in divisions for _, value in each.values)
    if plain and len(divisions) == len(counts) == SAID:
        one, other = (
            tuple((quantity, str(value)) for quantity, value in each.values)
            for each in sorted(divisions, key=lambda each: len(each.values))
        )
        question = WhichDivision(ways=(one, other))
        visit.ask(question, question.text(visit.catalogue))
    else:
        visit.ask(WhichValue(quantity=otherwise), visit.words("one-by-one", what=visit.name(otherwise)))


def example_of_division(scope: Scope, quantities: Sequence[str]) -> WhichDivision:
    """Return the question as it may be asked of the first two quantities."""
    two = tuple((name, _example(scope, name)) for name in quantities[:2])
    return WhichDivision(ways=(two[:1], two))


def _example(scope: Scope, quantity: str) -> str:
    """Return some number of a quantity, so that the words of a question which holds one can be proven."""
    known = scope.catalogue.quantities.get(quantity)
    return "0" if known is None else f"{known.high:f}"
