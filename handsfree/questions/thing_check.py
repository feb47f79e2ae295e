"""The read-back of a thing that was put back."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import Rule
from handsfree.questions.keypad import Keypad, yes_or_no
from handsfree.questions.kind import Carried, Manner, Player, Scope
from handsfree.questions.rules import affirm


class ThingCheck(Carried):
    """One word alone restores nothing, since it could be a stray one: the state or the setting is said back."""

    kind: Literal["thing-check"] = "thing-check"
    thing: str
    value: str | None = None
    """Its setting as called, an exact decimal; None for a thing without one."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="putting-back", counts_at_once=True)

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
