"""The grammar of the moment: rules that each say which words they accept and what those words mean.

A grammar is a set of rules. Its automaton goes to the recogniser; its `read` turns heard or typed words
into every meaning they can have. Words outside the language have no meaning; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import Protocol

from handsfree.lexicon.automaton import (
    Pattern,
    WordAutomaton,
    choice,
    exactly,
    optional,
    phrase,
    phrases,
    sequence,
)
from handsfree.lexicon.meaning import (
    Answer,
    Called,
    Correction,
    HazardSaid,
    Meaning,
    TurnMade,
    Values,
    Wrong,
)
from handsfree.lexicon.numbers import NumberForm, Numbers

UNKNOWN_WORD = "[unk]"
"""How a recogniser writes speech that is none of the words."""

Words = tuple[str, ...]


class Rule(Protocol):
    """One way of speaking."""

    def pattern(self) -> Pattern:
        """Return the words it accepts."""

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield everything the words can mean under this rule."""

    def examples(self) -> Words:
        """Return sentences of it, for "say it like": one for each thing that a person may choose to say."""


@dataclass(frozen=True)
class PhraseRule:
    """Fixed phrases, each with its meaning; `open_ended` ones may be followed by any talk (a reason)."""

    meanings: Mapping[str, Meaning]
    open_ended: frozenset[str] = frozenset()

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
class Slot:
    """One quantity to be called: its number form, its names, its units, and what may stand for a number."""

    numbers: Numbers
    quantity: str
    form: NumberForm
    names: tuple[str, ...]
    units: tuple[str, ...] = ()
    specials: Mapping[str, Called] = field(default_factory=dict)

    def value_pattern(self) -> Pattern:
        """Return a number or a special, with an optional unit."""
        units = (optional(phrases(self.units)),) if self.units else ()
        return choice(sequence(self.numbers.pattern(self.form), *units), phrases(self.specials))

    def example(self) -> str:
        """Return a number of the quantity, as the tool says it."""
        middle = min((self.form.low + self.form.high) / 2, Decimal(9))
        return self.numbers.digits(Decimal(f"{int(middle)}.3") if self.form.decimals else Decimal(int(middle)))

    def named_pattern(self) -> Pattern:
        """Return the value with its name before it."""
        return sequence(phrases(self.names), self.value_pattern())

    def called(self, words: Words, *, coarse: bool = False) -> set[Called]:
        """Return what the words call: a number to the instrument's resolution, or a special.

        With `coarse` a number of fewer digits counts too, so that the caller can ask for the rest.
        """
        least = 0 if coarse else self.form.decimals
        special = self.specials.get(" ".join(words))
        found: set[Called] = set() if special is None else {special}
        for bare in {words, *(_without_ending(words, unit) for unit in self.units)} - {None}:
            assert bare is not None
            found |= {v for v in self.numbers.read(bare, self.form) if int(v.as_tuple().exponent) <= -least}
        return found

    def named(self, words: Words, *, coarse: bool = False) -> set[Called]:
        """Return what the words call when they begin with one of the names."""
        starts = (tuple(name.split()) for name in self.names)
        found: set[Called] = set()
        for start in starts:
            if words[: len(start)] == start:
                found |= self.called(words[len(start) :], coarse=coarse)
        return found


def _without_ending(words: Words, ending: str) -> Words | None:
    tail = tuple(ending.split())
    return words[: -len(tail)] if len(words) > len(tail) and words[-len(tail) :] == tail else None


@dataclass(frozen=True)
class ValuesRule:
    """Values in the order asked, or as far as they go; each may be named; a rate may stand at both ends."""

    slots: tuple[Slot, ...]
    rates: Mapping[str, str] = field(default_factory=dict)
    """Phrase -> rate."""

    def pattern(self) -> Pattern:
        """Return the slots in order, as far as they go, and any single slot by name.

        Where a rate is held, the whole row ends with it, as the dialogue asks: it brackets the set, and its
        long word keeps noise from being heard as one more digit. (`read` also takes a row typed without.)
        """
        rate = phrases(self.rates) if self.rates else phrase("")
        named = [sequence(slot.named_pattern(), _maybe(rate, self.rates)) for slot in self.slots]
        whole = sequence(*(self._here(slot) for slot in self.slots), rate)
        begun = [
            sequence(*(self._here(slot) for slot in self.slots[:count])) for count in range(1, len(self.slots))
        ]
        return sequence(_maybe(rate, self.rates), choice(whole, *begun, *named))

    def _here(self, slot: Slot) -> Pattern:
        return choice(slot.value_pattern(), slot.named_pattern())

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield every division of the words among the slots; "flow two eight" may be flow two: 8, or flow: 28."""
        for before, inner, after in self._rates_off(words):
            for values in self._divisions(inner, self.slots):
                yield Values(values, before, after)
            for slot in self.slots:
                for value in sorted(slot.named(inner, coarse=True), key=str):
                    yield Values(((slot.quantity, value),), before, after)
                special = slot.specials.get(" ".join(inner))
                if special == "over range":  # said alone it may be any of the values asked
                    yield Values(((slot.quantity, special),), before, after)

    def examples(self) -> Words:
        """Return values in order, as they would be called."""
        return (", ".join(slot.example() for slot in self.slots),)

    def _rates_off(self, words: Words) -> Iterator[tuple[str | None, Words, str | None]]:
        heads: list[tuple[str | None, Words]] = [(None, words)]
        for text, rate in self.rates.items():
            head = tuple(text.split())
            if words[: len(head)] == head:
                heads.append((rate, words[len(head) :]))
        for before, rest in heads:
            yield before, rest, None
            for text, rate in self.rates.items():
                shorter = _without_ending(rest, text)
                if shorter is not None:
                    yield before, shorter, rate

    def _divisions(self, words: Words, slots: Sequence[Slot]) -> Iterator[tuple[tuple[str, Called], ...]]:
        if not words or not slots:
            return
        slot = slots[0]
        for end in range(1, len(words) + 1):
            here = words[:end]
            for value in sorted(slot.called(here) | slot.named(here), key=str):
                if end == len(words):
                    yield ((slot.quantity, value),)
                for rest in self._divisions(words[end:], slots[1:]):
                    yield ((slot.quantity, value), *rest)


@dataclass(frozen=True)
class DigitsRule:
    """One value digit by digit and no other way: no word of it has a twin that sounds alike."""

    slot: Slot

    def pattern(self) -> Pattern:
        """Return the number's own language without the words that say more than one digit."""
        automaton = self.slot.numbers.pattern(self.slot.form).automaton()
        arcs = tuple(arc for arc in automaton.arcs if arc[1] in self.slot.numbers.single_words)
        alone = WordAutomaton(arcs, automaton.finals)
        return choice(
            exactly(alone), sequence(phrases(self.slot.names), exactly(alone)), phrases(self.slot.specials)
        )

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield the value when every word of it is a single digit, a point or a sign."""
        for head in ("", *self.slot.names):
            name = tuple(head.split())
            rest = words[len(name) :]
            if words[: len(name)] == name and (
                " ".join(rest) in self.slot.specials or set(rest) <= self.slot.numbers.single_words
            ):
                for value in sorted(self.slot.called(rest), key=str):
                    yield Values(((self.slot.quantity, value),))

    def examples(self) -> Words:
        """Return digits one by one."""
        return (self.slot.numbers.digits(Decimal("9.3") if self.slot.form.decimals else Decimal(12)),)


@dataclass(frozen=True)
class CorrectionRule:
    """A correction ("no, nine point five", "no, flow eighty"): a denial and the right value in one breath."""

    denials: tuple[str, ...]
    slots: tuple[Slot, ...]

    def pattern(self) -> Pattern:
        """Return a denial followed by one value, named or not."""
        values = [choice(slot.value_pattern(), slot.named_pattern()) for slot in self.slots]
        return sequence(phrases(self.denials), choice(*values))

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield the value for every slot it fits; a name settles which."""
        for denial in self.denials:
            head = tuple(denial.split())
            if words[: len(head)] != head:
                continue
            rest = words[len(head) :]
            for slot in self.slots:
                for value in slot.named(rest):
                    yield Correction(((slot.quantity, value),))
                for value in slot.called(rest):
                    yield Correction(((slot.quantity if len(self.slots) == 1 else None, value),))

    def examples(self) -> Words:
        """Return a correction of the first slot."""
        return (f"{self.denials[0]}, {self.slots[0].example()}",)


@dataclass(frozen=True)
class WrongRule:
    """A value taken back ("flow was wrong"): names a value accepted earlier."""

    names: Mapping[str, str]
    """Phrase -> quantity."""
    endings: tuple[str, ...]

    def pattern(self) -> Pattern:
        """Return a quantity's name and "was wrong"."""
        return sequence(phrases(self.names), phrases(self.endings))

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield the quantity taken back."""
        for ending in self.endings:
            name = _without_ending(words, ending)
            if name and " ".join(name) in self.names:
                yield Wrong(self.names[" ".join(name)])

    def examples(self) -> Words:
        """Return the first name."""
        return (f"{next(iter(self.names))} {self.endings[0]}",)


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

    rules: tuple[Rule, ...]

    @cached_property
    def automaton(self) -> WordAutomaton:
        """The language of all rules together."""
        return choice(*(rule.pattern() for rule in self.rules)).automaton()

    def read(self, words: Iterable[str]) -> tuple[Meaning, ...]:
        """Return every meaning of the words, each once, in the order of the rules."""
        said = tuple(words)
        return tuple(dict.fromkeys(meaning for rule in self.rules for meaning in rule.read(said)))

    def examples(self) -> Words:
        """Return what could be said now."""
        return self.rules[0].examples()


def _maybe(rate: Pattern, rates: object) -> Pattern:
    return optional(rate) if rates else phrase("")


def answers(named: Mapping[str, Iterable[str]]) -> PhraseRule:
    """Return the rule for answers: name -> its phrases."""
    return PhraseRule({text: Answer(name) for name, texts in named.items() for text in texts})


def hazards(named: Mapping[str, Iterable[str]]) -> PhraseRule:
    """Return the rule for hazards: name -> its phrases."""
    return PhraseRule({text: HazardSaid(name) for name, texts in named.items() for text in texts})
