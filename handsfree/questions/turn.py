"""A turn of an adjuster, called as it was made."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, Offer, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.rules import named, turn_rule
from handsfree.questions.shapes import Worded

Direction = Literal["clockwise", "counter-clockwise"]


class Turn(Worded):
    """The tool advised a turn, or asked for one to be undone; the person calls the turn that was made."""

    kind: Literal["turn"] = "turn"
    direction: Direction | None = None
    """The way that was asked for; records of before it was kept do not say it."""
    eighths: int = 0
    """How far it was asked for, in eighths of a turn."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="turning", works=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (turn_rule(scope.catalogue), named(scope.catalogue, "other-screw"))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        likely, rest = turn_offers(scope.catalogue, self.direction or "clockwise", self.eighths or 1)
        return Keypad(offers=likely, last=rest)

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.turns()


def turn_offers(
    catalogue: Catalogue, direction: Direction, eighths: int
) -> tuple[tuple[Offer, ...], tuple[Offer, ...]]:
    """Return the likely turns, the one asked for first, and all others.

    Beside it stand no turn, its neighbours, the same the other way, and the other screw: what goes wrong.
    """
    sizes = sorted(size for size in catalogue.turns if size)
    near = sorted(sizes, key=lambda size: (abs(size - eighths), size))[:3]
    other: Direction = "counter-clockwise" if direction == "clockwise" else "clockwise"
    likely = [_offer(catalogue, direction, size) for size in near]
    likely.insert(1, *offered(catalogue.turns[0][:1]))
    likely += [_offer(catalogue, other, near[0]), *offered(catalogue.answers["other-screw"][:1])]
    every = (_offer(catalogue, way, size) for way in (direction, other) for size in sizes)
    return tuple(likely), tuple(offer for offer in every if offer not in likely)


def _offer(catalogue: Catalogue, direction: Direction, eighths: int) -> Offer:
    said, far = catalogue.answers[direction][0], catalogue.turns[eighths][0]
    return Offer(f"{said}, {far}", f"{said} {far}")
