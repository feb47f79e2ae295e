"""Whether words called one value or two."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from handsfree.lexicon.catalogue import Catalogue, sentence_case
from handsfree.lexicon.grammar import GrammarRule
from handsfree.lexicon.value_rules import DivisionRule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Carried, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import rate_lost, slots, values_anew

Way = tuple[tuple[str, str], ...]
"""Quantities with their values, in order."""


class WhichDivision(Carried):
    """Digits said one after the other may be one value or two: the tool says both, and one is chosen."""

    kind: Literal["which-division"] = "which-division"
    ways: tuple[Way, Way]
    """What the words can have called."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner()

    def called(self, scope: Scope) -> tuple[str, ...]:
        """Return the quantities whose values answer it."""
        return tuple(ask.quantity for ask in scope.asks)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        row = {slot.quantity: slot for slot in slots(scope.asks, scope)}
        ways = tuple(tuple((name, Decimal(value)) for name, value in way if name in row) for way in self.ways)
        chosen = DivisionRule(row, ways, scope.catalogue.answers["between"])
        return (chosen, values_anew(scope), *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(offers=offered(self.said(scope.catalogue)))

    def said(self, catalogue: Catalogue) -> tuple[str, str]:
        """Return each way in words."""
        one, other = (
            f" {catalogue.answers['between'][0]} ".join(
                catalogue.numbers.digits(Decimal(value)) for _, value in way
            )
            for way in self.ways
        )
        return one, other

    def text(self, catalogue: Catalogue) -> str:
        """Return the question: "Five seven, or five and seven?"."""
        one, other = self.said(catalogue)
        return sentence_case(catalogue.say("which-division", one=one, other=other))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.calls(())
