"""The rules of the grammar by which values are called: alone, named, divided, or digit by digit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import accumulate

from handsfree.lexicon.automaton import (
    Pattern,
    WordAutomaton,
    choice,
    exactly,
    optional,
    phrase,
    phrases,
    repeated,
    sequence,
)
from handsfree.lexicon.grammar import Words
from handsfree.lexicon.meaning import Called, InUnit, Meaning, Values
from handsfree.lexicon.numbers import NumberForm, Numbers

LONGEST_CALL = 24
"""No value takes more words with its name and unit; to look for one in more would take ever longer."""


@dataclass(frozen=True)
class OtherUnit:
    """A unit in which a quantity may be called, with what an instrument shows in it."""

    unit: str
    """UCUM code; "" is the quantity's own."""
    form: NumberForm
    heard: tuple[str, ...]


@dataclass(frozen=True)
class Slot:
    """One quantity to be called: its number form, its names, its units, and what may stand for a number."""

    numbers: Numbers
    quantity: str
    form: NumberForm
    names: tuple[str, ...]
    units: tuple[str, ...] = ()
    """Words for the unit of a bare number; they may be left out."""
    specials: Mapping[str, Called] = field(default_factory=dict)
    shown: str = ""
    """The UCUM unit of a bare number where it is another than the quantity's own."""
    others: tuple[OtherUnit, ...] = ()
    """Units in which it may be called as well; they are named."""

    def bare_pattern(self) -> Pattern:
        """Return a number or a special, in the unit that is shown, which may be said."""
        units = (optional(phrases(self.units)),) if self.units else ()
        return choice(sequence(self.numbers.pattern(self.form), *units), phrases(self.specials))

    def value_pattern(self) -> Pattern:
        """Return a number or a special, in any unit."""
        others = (sequence(self.numbers.pattern(one.form), phrases(one.heard)) for one in self.others)
        return choice(self.bare_pattern(), *others)

    def example(self) -> str:
        """Return a number of the quantity, as the tool says it."""
        middle = min((self.form.low + self.form.high) / 2, Decimal(9))
        return self.numbers.digits(Decimal(f"{int(middle)}.3") if self.form.decimals else Decimal(int(middle)))

    def only(self, value: Decimal) -> Slot:
        """Return the slot for one number alone, without its name."""
        decimals = -int(value.as_tuple().exponent)
        exactly_it = NumberForm(value, value, decimals, decimals)
        return replace(self, form=exactly_it, names=(), specials={}, others=())

    def begins(self, words: Words) -> bool:
        """Say whether the words begin with one of its names."""
        return any(words[: len(start)] == start for start in (tuple(name.split()) for name in self.names))

    def named_pattern(self) -> Pattern:
        """Return the value with its name before it."""
        return sequence(phrases(self.names), self.value_pattern())

    def called(self, words: Words, *, coarse: bool = False) -> set[Called]:
        """Return what the words call: a number to the instrument's resolution, or a special.

        With `coarse` a number of fewer digits counts too, so that the caller can ask for the rest.
        """
        if len(words) > LONGEST_CALL:
            return set()
        special = self.specials.get(" ".join(words))
        found: set[Called] = set() if special is None else {special}
        for bare in (words, *(without_ending(words, unit) for unit in self.units)):
            found |= self._read(bare, self.form, self.shown, coarse=coarse)
        for other in self.others:
            for ending in other.heard:
                found |= self._read(without_ending(words, ending), other.form, other.unit, coarse=coarse)
        return found

    def _read(self, words: Words | None, form: NumberForm, unit: str, *, coarse: bool) -> set[Called]:
        """Return the numbers of a form that words say, in a unit; "" is the quantity's own."""
        read = frozenset() if words is None else self.numbers.read(words, form)
        whole = {value for value in read if coarse or form.shows(value)}
        return {InUnit(value, unit) if unit else value for value in whole}

    def named(self, words: Words, *, coarse: bool = False) -> set[Called]:
        """Return what the words call when they begin with one of the names."""
        starts = (tuple(name.split()) for name in self.names)
        found: set[Called] = set()
        for start in starts:
            if words[: len(start)] == start:
                found |= self.called(words[len(start) :], coarse=coarse)
        return found


def without_ending(words: Words, ending: str) -> Words | None:
    """Return the words before an ending; None when they do not end so, or nothing stands before it."""
    tail = tuple(ending.split())
    return words[: -len(tail)] if len(words) > len(tail) and words[-len(tail) :] == tail else None


@dataclass(frozen=True)
class _Part:
    """One value in a division of words: what it calls, and how many of the words say it."""

    quantity: str
    value: Called
    length: int
    digits: bool
    """Its words say one digit each, so that it may be two values as well as one."""


Division = tuple[_Part, ...]


@dataclass(frozen=True)
class ValuesRule:
    """Values without their names in the order of the slots, or by their names in any order.

    A rate may stand at both ends.
    """

    slots: tuple[Slot, ...]
    """What values without a name fill, one after the other, as far as they go."""
    rates: Mapping[str, str] = field(default_factory=dict)
    """Phrase -> rate."""
    by_name: tuple[Slot, ...] = ()
    """What else may be called, by its name alone."""
    whole: bool = False
    """Values without a name count only when they fill every slot."""
    rate_ends_row: bool = True
    """Where a rate is held, whole rows are asked for with it: it is told in examples."""

    def pattern(self) -> Pattern:
        """Return the slots in order, as far as they go, and any slots by name.

        Where a rate is held it may end the row, as the dialogue asks: it brackets the set, and is asked for where
        it was left out. A value alone or by its name is heard in any unit, a row without names in the units that
        are shown: with every unit of every value its language would be forty times as large. (`read` also takes a
        row typed with units.)
        """
        maybe = optional(phrases(self.rates)) if self.rates else phrase("")
        rows = [sequence(self._row(self.slots), maybe)] if self.slots else []
        if not self.whole:
            rows += [self._row(self.slots[:count]) for count in range(1, len(self.slots))]
        named = repeated(choice(*(slot.named_pattern() for slot in self._known)))
        return sequence(maybe, choice(*rows, sequence(named, maybe)))

    @property
    def _known(self) -> tuple[Slot, ...]:
        """The slots, then what may be called by name."""
        return tuple({slot.quantity: slot for slot in (*self.by_name, *self.slots)}.values())

    def _row(self, slots: Sequence[Slot]) -> Pattern:
        if len(slots) == 1:
            return slots[0].value_pattern()
        named = (choice(slot.bare_pattern(), sequence(phrases(slot.names), slot.bare_pattern())) for slot in slots)
        return sequence(*named)

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield every division of the words among the slots; "flow two eight" may be flow two: 8, or flow: 28.

        What can be read by names alone is read so. Else a number whose words make one ("one hundred and thirty
        five") is never cut in two; digits said one by one may be one value or more.
        """
        for before, inner, after in self._rates_off(words):
            by_name = list(self._by_name(inner, frozenset()))
            for division in by_name or self._in_order(inner):
                yield Values(tuple((part.quantity, part.value) for part in division), before, after)
            for slot in self._known:
                for value in sorted(slot.named(inner, coarse=True), key=str):
                    yield Values(((slot.quantity, value),), before, after)
                special = slot.specials.get(" ".join(inner))
                if special == "over range":  # said alone it may be any of the values asked
                    yield Values(((slot.quantity, special),), before, after)

    def examples(self) -> Words:
        """Return values in order as heard: where a rate ends them with each, so that none is suggested."""
        row = ", ".join(slot.example() for slot in self.slots or self.by_name)
        if not (self.slots and self.rates and self.rate_ends_row):
            return (row,)
        firsts: dict[str, str] = {}
        for text, rate in self.rates.items():
            firsts.setdefault(rate, text)
        return tuple(f"{row}, {text}" for text in firsts.values())

    def _rates_off(self, words: Words) -> Iterator[tuple[str | None, Words, str | None]]:
        heads: list[tuple[str | None, Words]] = [(None, words)]
        for text, rate in self.rates.items():
            head = tuple(text.split())
            if words[: len(head)] == head:
                heads.append((rate, words[len(head) :]))
        for before, rest in heads:
            yield before, rest, None
            for text, rate in self.rates.items():
                shorter = without_ending(rest, text)
                if shorter is not None:
                    yield before, shorter, rate

    def _in_order(self, words: Words) -> list[Division]:
        """Return the divisions among the slots in their order, without needless cuts."""
        found = list(self._divisions(words, self.slots))
        uncut = (one for one in found if not any(_cuts(one, other) for other in found))
        return [one for one in uncut if len(one) == len(self.slots) or not self.whole]

    def _divisions(self, words: Words, slots: Sequence[Slot]) -> Iterator[Division]:
        if not words or not slots:
            return
        for part in self._parts(words, slots[0], named=False):
            if part.length == len(words):
                yield (part,)
            for rest in self._divisions(words[part.length :], slots[1:]):
                yield (part, *rest)

    def _by_name(self, words: Words, taken: frozenset[str]) -> Iterator[Division]:
        """Yield the divisions in which every value has its name, in any order, none twice."""
        for slot in self._known:
            if slot.quantity in taken:
                continue
            for part in self._parts(words, slot, named=True):
                if part.length == len(words):
                    yield (part,)
                for rest in self._by_name(words[part.length :], taken | {slot.quantity}):
                    yield (part, *rest)

    def _parts(self, words: Words, slot: Slot, *, named: bool) -> Iterator[_Part]:
        """Yield each value of a slot that the words begin with."""
        if named and not slot.begins(words):
            return
        for end in range(1, min(len(words), LONGEST_CALL) + 1):
            here = words[:end]
            values = slot.named(here) if named else slot.called(here) | slot.named(here)
            for value in sorted(values, key=str):
                yield _Part(slot.quantity, value, end, slot.numbers.single_words.issuperset(here))


def _cuts(one: Division, whole: Division) -> bool:
    """Say whether a division is the other one with some number cut whose words make one."""
    cuts = _ends(one) - _ends(whole)
    if not _ends(whole) < _ends(one):
        return False
    start = 0
    for part in whole:
        if not part.digits and any(start < cut < start + part.length for cut in cuts):
            return True
        start += part.length
    return False


def _ends(division: Division) -> frozenset[int]:
    """Return after how many words each value of a division ends."""
    return frozenset(accumulate(part.length for part in division))


@dataclass(frozen=True)
class DivisionRule:
    """The same words as one value or as more: each way to divide them, its values parted by a word ("and")."""

    slots: Mapping[str, Slot]
    ways: tuple[tuple[tuple[str, Decimal], ...], ...]
    between: tuple[str, ...]
    """The words that part two values."""

    def pattern(self) -> Pattern:
        """Return each way."""
        return choice(*(self._way(way) for way in self.ways))

    def _way(self, way: tuple[tuple[str, Decimal], ...]) -> Pattern:
        parts: list[Pattern] = []
        for quantity, value in way:
            if parts:
                parts.append(phrases(self.between))
            parts.append(self.slots[quantity].only(value).value_pattern())
        return sequence(*parts)

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield each way that the words say."""
        for way in self.ways:
            if self._says(words, way):
                yield Values(way)

    def _says(self, words: Words, way: tuple[tuple[str, Decimal], ...]) -> bool:
        (quantity, value), rest = way[0], way[1:]
        slot = self.slots[quantity].only(value)
        if not rest:
            return value in slot.called(words)
        return any(
            value in slot.called(words[:at]) and self._says(words[at + len(parting) :], rest)
            for at in range(1, len(words))
            for parting in (tuple(text.split()) for text in self.between)
            if words[at : at + len(parting)] == parting
        )

    def examples(self) -> Words:
        """Return every way."""
        parting = f" {self.between[0]} "
        return tuple(
            parting.join(self.slots[one].numbers.digits(value) for one, value in way) for way in self.ways
        )


@dataclass(frozen=True)
class DigitsRule:
    """One value digit by digit and no other way: no word of it has a twin that sounds alike."""

    slot: Slot

    def pattern(self) -> Pattern:
        """Return the number's own language without the words that say more than one digit."""
        alone = choice(
            self._alone(self.slot.form),
            *(sequence(self._alone(one.form), phrases(one.heard)) for one in self.slot.others),
        )
        return choice(alone, sequence(phrases(self.slot.names), alone), phrases(self.slot.specials))

    def _alone(self, form: NumberForm) -> Pattern:
        automaton = self.slot.numbers.pattern(form).automaton()
        arcs = tuple(arc for arc in automaton.arcs if arc[1] in self.slot.numbers.single_words)
        return exactly(WordAutomaton(arcs, automaton.finals))

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield the value when every word of it is a single digit, a point or a sign."""
        for head in ("", *self.slot.names):
            name = tuple(head.split())
            rest = words[len(name) :]
            endings = (ending for one in self.slot.others for ending in one.heard)
            bare = next((cut for ending in endings if (cut := without_ending(rest, ending)) is not None), rest)
            if words[: len(name)] == name and (
                " ".join(rest) in self.slot.specials or set(bare) <= self.slot.numbers.single_words
            ):
                for value in sorted(self.slot.called(rest), key=str):
                    yield Values(((self.slot.quantity, value),))

    def examples(self) -> Words:
        """Return digits one by one."""
        return (self.slot.numbers.digits(Decimal("9.3") if self.slot.form.decimals else Decimal(12)),)
