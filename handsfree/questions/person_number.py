"""The number of whoever answered."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, answers
from handsfree.questions.keypad import Keypad
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.shapes import Worded

EVERY_DIGIT = "1234567890"
"""What stands for a number where no sheet says any: proofs and vocabulary then know every digit."""


class PersonNumber(Worded):
    """An answer counts only with the number of the person who gave it, digit by digit, as the job sheet has it."""

    kind: Literal["person-number"] = "person-number"
    answer: str
    """The answer's name at the gate."""

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(counts_at_once=True, spells=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts: the numbers on the sheet, and no other."""
        said = {one: (scope.catalogue.numbers.digits(Decimal(one)),) for one in scope.people or (EVERY_DIGIT,)}
        return (answers(said),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give: the number is typed, and none is offered."""
        return Keypad(digits=scope.catalogue.show("your-number"))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.gives_number()
