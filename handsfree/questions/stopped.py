"""How a stopped visit goes on."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named
from handsfree.questions.shapes import Worded

Way = Literal["false-stop", "misheard", "put-right", "close"]
"""A bare cry was none; what stopped the work was misheard; its cause is put right; it is left off."""

WAYS: tuple[Way, ...] = ("false-stop", "misheard", "put-right", "close")


class AfterStop(Worded):
    """The order was spoken; one of the ways that are open now is chosen. None of them leads straight on."""

    kind: Literal["stopped"] = "stopped"
    ways: tuple[Way, ...] = ()
    """Those that are open now."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", asks_again=False, counts_at_once=True, headline="script")

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (named(scope.catalogue, *self.ways),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return Keypad(offers=offered(scope.catalogue.answers[way][0] for way in self.ways))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.after_a_stop(self.ways)
