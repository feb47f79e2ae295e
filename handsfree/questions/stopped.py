"""How a stopped visit goes on: cleared, or closed."""

from __future__ import annotations

from typing import Literal

from handsfree.lexicon.grammar import PhraseRule, Rule, answers
from handsfree.questions.keypad import Keypad, offered
from handsfree.questions.kind import Manner, Player, Scope
from handsfree.questions.shapes import Worded


class Stopped(Worded):
    """The script was spoken; the person says that the hazard is cleared and why, or has the record closed."""

    kind: Literal["stopped"] = "stopped"

    @property
    def manner(self) -> Manner:
        """How it behaves."""
        return Manner(asker="stop", asks_again=False, escalates=False, headline="script")

    def rules(self, scope: Scope) -> tuple[Rule, ...]:
        """Return what it accepts."""
        words = scope.catalogue.answers
        said = answers({"cleared": words["cleared"], "close": words["close"]})
        return (PhraseRule(said.meanings, frozenset(words["cleared"])),)

    def keys(self, scope: Scope) -> Keypad:
        """Return what the keys give."""
        words = scope.catalogue.answers
        reasons = (f"{words['cleared'][0]} {reason}" for reason in scope.catalogue.glance.cleared)
        return Keypad(offers=offered((words["close"][0], *reasons)))

    def played(self, player: Player) -> str:
        """Return what a player answers."""
        return player.after_a_stop()
