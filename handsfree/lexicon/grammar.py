"""The grammar of the moment: rules that each say which words they accept and what those words mean.

A grammar is a set of rules. Its automaton goes to the recogniser; its `read` turns heard or typed words
into every meaning they can have. Words outside the language have no meaning; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

from handsfree.lexicon.automaton import (
    Pattern,
    WordAutomaton,
    choice,
    optional,
    phrase,
    phrases,
    sequence,
)
from handsfree.lexicon.meaning import (
    Answer,
    HazardSaid,
    Meaning,
    TurnMade,
)

UNKNOWN_WORD = "[unk]"
"""How a recogniser writes speech that is none of the words."""

READ_KEPT = 32
"""Readings that a grammar keeps: more than one utterance has alternatives."""

Words = tuple[str, ...]


class GrammarRule(Protocol):
    """One way of speaking."""

    def pattern(self) -> Pattern:
        """Return the words it accepts."""

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield everything the words can mean under this rule."""

    def examples(self) -> Words:
        """Return sentences of it, for "say it like": one for each thing that a person may choose to say."""


@dataclass(frozen=True)
class PhraseRule:
    """Fixed phrases, each with its meaning; `open_ended` ones may be followed by any talk (a reason).

    `typed` ones are taken from the keys and never listened for: by sound they lie too near another phrase.
    """

    meanings: Mapping[str, Meaning]
    open_ended: frozenset[str] = frozenset()
    typed: Mapping[str, Meaning] = field(default_factory=dict)

    def pattern(self) -> Pattern:
        """Return the phrases, the open-ended ones with unknown words after them."""
        talk = optional(phrase(UNKNOWN_WORD))
        closed = [text for text in self.meanings if text not in self.open_ended]
        return choice(phrases(closed), *(sequence(phrase(text), talk) for text in sorted(self.open_ended)))

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield the meaning of the phrase, if it is one."""
        text = " ".join(words)
        for said, meaning in self.meanings.items():
            if text == said or (said in self.open_ended and text.startswith(said + " ")):
                yield meaning

    def examples(self) -> Words:
        """Return the first phrase of each meaning, so that none of them is suggested."""
        firsts: dict[Meaning, str] = {}
        for text, meaning in self.meanings.items():
            firsts.setdefault(meaning, text)
        return tuple(firsts.values())


@dataclass(frozen=True)
class TurnRule:
    """A turn as made: "clockwise, one eighth", or that none was made."""

    directions: Mapping[str, str]
    turns: Mapping[str, int]

    def pattern(self) -> Pattern:
        """Return a direction and how far, or that no turn was made, which needs no direction."""
        none = phrases([text for text, eighths in self.turns.items() if eighths == 0])
        return choice(sequence(phrases(self.directions), phrases(self.turns)), none)

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield the turn."""
        for text, direction in [("", None), *self.directions.items()]:
            head = tuple(text.split())
            rest = " ".join(words[len(head) :])
            if words[: len(head)] == head and rest in self.turns:
                eighths = self.turns[rest]
                if direction is not None or eighths == 0:
                    yield TurnMade(direction, eighths)  # type: ignore[arg-type]

    def examples(self) -> Words:
        """Return a turn in each direction, so that neither is suggested."""
        far = next(text for text, eighths in self.turns.items() if eighths)
        firsts: dict[str, str] = {}
        for text, direction in self.directions.items():
            firsts.setdefault(direction, text)
        return tuple(f"{text}, {far}" for text in firsts.values())


@dataclass(frozen=True)
class TalkRule:
    """Free talk that is kept as sound, not understood: a note, a reason."""

    name: str
    how: str
    """What the tool says when asked how: there is no example of free talk."""

    def pattern(self) -> Pattern:
        """Return unknown speech."""
        return phrase(UNKNOWN_WORD)

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield that something was said, whatever it was."""
        if words:
            yield Answer(self.name)

    def examples(self) -> Words:
        """Return what to do."""
        return (self.how,)


@dataclass(frozen=True)
class Grammar:
    """All that is understood at one moment; the first rules are the gate's own."""

    rules: tuple[GrammarRule, ...]

    @cached_property
    def automaton(self) -> WordAutomaton:
        """The language of all rules together."""
        return choice(*(rule.pattern() for rule in self.rules)).automaton()

    def read(self, words: Iterable[str]) -> tuple[Meaning, ...]:
        """Return every meaning of the words, each once, in the order of the rules."""
        said = tuple(words)
        if said not in self._read:
            if len(self._read) >= READ_KEPT:
                self._read.clear()
            meanings = (meaning for rule in self.rules for meaning in rule.read(said))
            self._read[said] = tuple(dict.fromkeys(meanings))
        return self._read[said]

    @cached_property
    def _read(self) -> dict[Words, tuple[Meaning, ...]]:
        """What was read before: one utterance is read several times on the way to its meaning."""
        return {}

    def read_typed(self, words: Iterable[str]) -> tuple[Meaning, ...]:
        """Return every meaning of typed words: those that are taken from the keys alone among them."""
        said = tuple(words)
        text = " ".join(said)
        keyed = (rule.typed[text] for rule in self.rules if isinstance(rule, PhraseRule) and text in rule.typed)
        return tuple(dict.fromkeys((*self.read(said), *keyed)))

    def examples(self) -> Words:
        """Return what could be said now."""
        return self.rules[0].examples()


NamedPhrases = Mapping[str, Iterable[str]]
"""Name -> its phrases."""


def answers(named: NamedPhrases, typed: NamedPhrases | None = None) -> PhraseRule:
    """Return the rule for answers by name, some of them taken only when typed."""
    return PhraseRule(_meaning(Answer, named), typed=_meaning(Answer, typed or {}))


def hazards(named: NamedPhrases, typed: NamedPhrases | None = None) -> PhraseRule:
    """Return the rule for hazards by name, some cries taken only when typed."""
    return PhraseRule(_meaning(HazardSaid, named), typed=_meaning(HazardSaid, typed or {}))


def _meaning(kind: type[Answer | HazardSaid], named: NamedPhrases) -> dict[str, Meaning]:
    return {text: kind(name) for name, texts in named.items() for text in texts}
