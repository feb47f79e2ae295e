"""The read-back of a turn."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from handsfree.lexicon.grammar import Rule
from handsfree.questions.keypad import Keypad, offered, yes_or_no
from handsfree.questions.kind import Manner, Scope
from handsfree.questions.rules import affirm, turn_rule
from handsfree.questions.shapes import YesOrNo
from handsfree.questions.turn import turn_offers


class TurnCheck(YesOrNo):
    """The turn is said back; a yes counts it, another turn takes its place."""

    kind: Literal["turn-check"] = "turn-check"
    direction: Literal["clockwise", "counter-clockwise"]
    eighths: int

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(counts_at_once=True)

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        return (affirm(scope.catalogue), turn_rule(scope.catalogue))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        first, last = turn_offers(scope.catalogue)
        keys = yes_or_no(scope.catalogue, offers=(*first, *offered(scope.catalogue.turns[0][:1])))
        return replace(keys, last=last)
