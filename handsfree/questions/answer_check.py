"""The likeliest answer, offered for a yes or no."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.keypad import Keypad, yes_or_no
from handsfree.questions.kind import Manner, Scope
from handsfree.questions.rules import affirm, right
from handsfree.questions.shapes import YesOrNo


class AnswerCheck(YesOrNo):
    """An answer was heard in doubt, so it is offered."""

    kind: Literal["answer-check"] = "answer-check"
    answer: str
    """Its name at the gate."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(counts_at_once=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts: an ordinary yes too, where one would have answered the gate."""
        return (right(scope.catalogue) if scope.ordinary else affirm(scope.catalogue),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        return yes_or_no(scope.catalogue)
