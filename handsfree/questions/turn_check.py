"""The read-back of a turn."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, answers
from handsfree.questions.keypad import Keypad, yes_or_no
from handsfree.questions.kind import Manner, Scope
from handsfree.questions.rules import turn_rule
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
        return Manner(asker="turning", counts_at_once=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts; a no that begins "wrong screw" could be that, cut off, and is left out."""
        words = scope.catalogue.answers
        other = words["other-screw"]
        denials = tuple(no for no in words["deny"] if not any(one.startswith(f"{no} ") for one in other))
        checked = answers({"affirm": words["affirm"], "deny": denials, "other-screw": other})
        return (checked, turn_rule(scope.catalogue))

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        likely, rest = turn_offers(scope.catalogue, self.direction, self.eighths or 1)
        return replace(yes_or_no(scope.catalogue, offers=likely), last=rest)
