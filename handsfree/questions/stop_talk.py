"""One step after a stop, answered in free words."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import GrammarRule, TalkRule
from handsfree.lexicon.meaning import TOLD
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, PlayedTechnician, Scope
from handsfree.questions.shapes import Worded


class StopTalk(Worded):
    """What is said is kept as sound or as typed words; nothing is understood of it."""

    kind: Literal["stop-talk"] = "stop-talk"
    step: str

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", taken_back=True)

    def rules(self, scope: Scope) -> tuple[GrammarRule, ...]:
        """Return what it accepts."""
        return (TalkRule(TOLD, scope.catalogue.sayings["speak-freely"]),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give: words are typed or spoken, or written elsewhere by who has keys alone."""
        return Keypad(offers=offered(scope.catalogue.glance.told))

    def played(self, player: PlayedTechnician) -> str:
        """Return what a player answers."""
        return player.talks()
