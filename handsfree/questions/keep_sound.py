"""Whether the sound of the visit may be kept: asked before anything else, of everybody who may be heard."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule
from handsfree.questions.kind import Manner, Scope
from handsfree.questions.rules import right
from handsfree.questions.shapes import YesOrNo


class KeepSound(YesOrNo):
    """Until it is answered no sound is kept, that of its own answer neither."""

    kind: Literal["keep-sound"] = "keep-sound"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="need", counts_at_once=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts: an ordinary yes is enough."""
        return (right(scope.catalogue),)
