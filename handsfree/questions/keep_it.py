"""A value that was confirmed and is unusual: whether to keep it."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.correction_rules import CorrectionRule
from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, correction, yes_or_no
from handsfree.questions.kind import Carried, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named, rate_lost, right, slots, values_anew


class KeepIt(Carried):
    """A confirmed value lies where the maker or common practice has none; a second confirmation keeps it."""

    kind: Literal["keep-it"] = "keep-it"
    quantities: tuple[str, ...]
    """What is unusual, alone or together."""
    reason: str
    """For the record."""
    how: Literal["affirmed", "twice"]
    """How its value was confirmed before."""
    rest: tuple[str, ...] = ()
    """What else was confirmed with it and is unusual for another reason."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(counts_at_once=True, headline="values")

    def called(self, scope: Scope) -> tuple[str, ...]:
        """Return the quantities whose values answer it."""
        return tuple(ask.quantity for ask in scope.asks)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        row = slots(scope.asks, scope)
        corrected = CorrectionRule(scope.catalogue.answers["deny"], row)
        said = (right(scope.catalogue), named(scope.catalogue, "keep"))
        return (*said, values_anew(scope), corrected, *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        no = scope.catalogue.answers["deny"][0]
        others = tuple(
            correction(scope.catalogue, scope.asks, quantity, scope.shows, no) for quantity in self.quantities
        )
        return yes_or_no(scope.catalogue, patient=True, offers=others)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.answers("keep")
