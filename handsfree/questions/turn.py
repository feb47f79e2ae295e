"""A turn of an adjuster, called as it was made."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.grammar import Rule
from handsfree.questions.keypad import Keypad, Offer, offered
from handsfree.questions.kind import Manner, Player, Scope
from handsfree.questions.rules import turn_rule
from handsfree.questions.shapes import Worded


class Turn(Worded):
    """The tool advised a turn; the person calls the turn that was made."""

    kind: Literal["turn"] = "turn"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(works=True)

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        return (turn_rule(scope.catalogue),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        first, last = turn_offers(scope.catalogue)
        return Keypad(offers=(*first, *offered(scope.catalogue.turns[0][:1])), last=last)

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.turns()


def turn_offers(catalogue: Catalogue) -> tuple[tuple[Offer, ...], tuple[Offer, ...]]:
    """Return the turns: clockwise growing downward from the top, the other way growing upward from the end."""
    clockwise = tuple(_offers(catalogue, "clockwise"))
    return clockwise, tuple(reversed(tuple(_offers(catalogue, "counter-clockwise"))))


def _offers(catalogue: Catalogue, direction: str) -> Iterator[Offer]:
    said = catalogue.answers[direction][0]
    for eighths, texts in catalogue.turns.items():
        if eighths:
            yield Offer(f"{said}, {texts[0]}", f"{said} {texts[0]}")
