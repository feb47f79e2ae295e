"""One value that is missing, or whichever was wrong."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, correction, numbers
from handsfree.questions.kind import Carried, Manner, PlayedTechnician, Scope
from handsfree.questions.rules import rate_lost, values_anew, values_missing


class WhichValue(Carried):
    """A value is still missing; or one was denied, and which is not known."""

    kind: Literal["which-value"] = "which-value"
    quantity: str | None = None
    """The missing one; None when any of them may have been wrong."""
    missing: tuple[str, ...] = ()
    """What else the set lacks: it may be called in the same breath."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(guesses=True)

    def called(self, scope: Scope) -> tuple[str, ...]:
        """Return the quantities whose values answer it."""
        return (self.quantity,) if self.quantity else tuple(ask.quantity for ask in scope.asks)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        if self.quantity is None:
            return (values_anew(scope), *rate_lost(scope))
        return (values_missing(scope, (self.quantity, *self.missing)), *rate_lost(scope))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        if self.quantity:
            return numbers(scope.catalogue, scope.only(self._wanted), scope.shows)
        asks, shows = scope.asks, scope.shows
        return Keypad(offers=tuple(correction(scope.catalogue, asks, ask.quantity, shows) for ask in asks))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.calls_again(self._wanted)

    @property
    def _wanted(self) -> tuple[str, ...]:
        return (self.quantity,) if self.quantity else ()
