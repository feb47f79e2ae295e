"""One value called a second time."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.lexicon.value_rules import ValuesRule
from handsfree.questions.kind import Manner, Scope
from handsfree.questions.rules import rate_lost, slots
from handsfree.questions.shapes import CalledAgain


class OnceMore(CalledAgain):
    """A value is in doubt, so it is called again without being shown."""

    kind: Literal["once-more"] = "once-more"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(second_call=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (ValuesRule(slots(scope.only((self.quantity,)), scope)), *rate_lost(scope))
