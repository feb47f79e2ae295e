"""A thing to be put back, told by its state or proven by its value."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, answers
from handsfree.lexicon.value_rules import ValuesRule
from handsfree.questions.keypad import Keypad, numbers, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import slots, states
from handsfree.questions.shapes import Worded


class PutBack(Worded):
    """The thing is still altered; its restored state, or the value of its setting, answers it."""

    kind: Literal["put-back"] = "put-back"
    thing: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="putting-back", works=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        thing = scope.things[self.thing]
        if thing.value is not None:
            return (ValuesRule(slots((thing.ask(),), scope)),)
        return (states(thing), answers({"restored": (thing.put_back_by_name,)}))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        thing = scope.things[self.thing]
        if thing.value is None:
            return Keypad(offers=offered((thing.restored, thing.altered)))
        return numbers(scope.catalogue, (thing.ask(),), scope.shows, specials=False)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.puts_back(self.thing)
