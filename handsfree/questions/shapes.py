"""Shapes that several kinds of question share; each kind says itself which one it has."""

from __future__ import annotations

from handsfree.lexicon.grammar import GrammarRule
from handsfree.lexicon.value_rules import ValuesRule
from handsfree.questions.ask import Ask
from handsfree.questions.keypad import Keypad, numbers, offered, yes_or_no
from handsfree.questions.kind import Carried, PlayedTechnician, Scope
from handsfree.questions.rules import affirm, slots, states


class Worded(Carried):
    """Words answer it, never a value."""

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it: none."""
        return ()


class YesOrNo(Worded):
    """Something was said back; a yes makes it count."""

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (affirm(scope.catalogue),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return yes_or_no(scope.catalogue, patient=True)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.answers("affirm")


class StateOfThing(Worded):
    """One of the two states of a thing answers it."""

    thing: str

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (states(scope.things[self.thing]),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        thing = scope.things[self.thing]
        return Keypad(offers=offered((thing.restored, thing.altered)))


class CalledAgain(Carried):
    """The value of one quantity is called a second time, so that both can be compared."""

    quantity: str

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return (self.quantity,)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, scope.only((self.quantity,)), scope.shows)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.calls_again((self.quantity,))


class OneReading(Carried):
    """The value of one quantity answers it, read off a display now, whatever the gate asks for."""

    quantity: str

    def called(self, scope: Scope) -> tuple[str, ...]:  # noqa: ARG002
        """Return the quantities whose values answer it."""
        return (self.quantity,)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (ValuesRule(slots((Ask(quantity=self.quantity),), scope)),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return numbers(scope.catalogue, (Ask(quantity=self.quantity),), scope.shows)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.reads(self.quantity)
