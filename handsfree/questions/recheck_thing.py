"""The state of a thing, asked after an interruption."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import Rule
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Carried, Manner, Player, Scope
from handsfree.questions.rules import states


class RecheckThing(Carried):
    """Every altered thing is asked for before the visit goes on."""

    kind: Literal["recheck-thing"] = "recheck-thing"
    thing: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="recheck", counts_at_once=True)

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return ()

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        return (states(scope.things[self.thing]),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        thing = scope.things[self.thing]
        return Keypad(offers=offered((thing.restored, thing.altered)))

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.names_state(self.thing, as_needed=False)
