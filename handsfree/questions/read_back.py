"""Values said back, to be confirmed or corrected."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.correction_rules import CorrectionRule
from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, correction, yes_or_no
from handsfree.questions.kind import Carried, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import rate_lost, right, slots, values_anew, values_missing


class ReadBackCheck(Carried):
    """The tool has said the values; a yes, a correction in one breath, or other values answer it."""

    kind: Literal["read-back"] = "read-back"
    quantities: tuple[str, ...]
    """What was read back, in order."""
    missing: tuple[str, ...] = ()
    """What the set still lacks: values without a name fill these in their order."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(silence_accepts=True, counts_at_once=True, headline="values")

    def called(self, scope: Scope) -> tuple[str, ...]:
        """Return the quantities whose values answer it."""
        return tuple(ask.quantity for ask in scope.asks)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        denials = scope.catalogue.answers["deny"]
        row = slots(scope.asks, scope)
        lone = not self.missing and len(row) > 1
        rows = [values_missing(scope, self.missing)] if self.missing else []
        corrected = CorrectionRule(denials, row, bare=lone)
        return (right(scope.catalogue), *rows, values_anew(scope), corrected, *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        no = scope.catalogue.answers["deny"][0]
        others = tuple(
            correction(scope.catalogue, scope.asks, quantity, scope.shows, no) for quantity in self.quantities
        )
        return yes_or_no(scope.catalogue, offers=others)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.checks_values()
