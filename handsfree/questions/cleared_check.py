"""The read-back of a hazard that the person calls cleared."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import Rule
from handsfree.questions.keypad import Keypad, yes_or_no
from handsfree.questions.kind import Carried, Manner, Player, Scope
from handsfree.questions.rules import affirm


class ClearedCheck(Carried):
    """The reason is kept as sound or as typed words; a yes lets the visit go on."""

    kind: Literal["cleared-check"] = "cleared-check"
    reason: str = ""
    """The typed words."""
    sound: str | None = None
    """SHA-256 of the spoken words."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", counts_at_once=True)

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return ()

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        return (affirm(scope.catalogue),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return yes_or_no(scope.catalogue, patient=True)

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.answers("affirm")
