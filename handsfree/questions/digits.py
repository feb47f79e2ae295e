"""One value digit by digit."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.lexicon.value_rules import DigitsRule
from handsfree.questions.kind import Manner, Scope
from handsfree.questions.rules import rate_lost, slot
from handsfree.questions.shapes import CalledAgain


class Digits(CalledAgain):
    """A value whose words have twins that sound alike is called digit by digit."""

    kind: Literal["digits"] = "digits"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(second_call=True, spells=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        rows = (DigitsRule(slot(ask, scope)) for ask in scope.only((self.quantity,)))
        return (*rows, *rate_lost(scope))
