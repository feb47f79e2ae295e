"""The rules of the grammar by which a value is corrected or taken back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from handsfree.lexicon.automaton import Pattern, choice, phrases, sequence
from handsfree.lexicon.grammar import Words
from handsfree.lexicon.meaning import Correction, Meaning, Wrong
from handsfree.lexicon.value_rules import Slot, without_ending


@dataclass(frozen=True)
class CorrectionRule:
    """A correction ("no, nine point five", "no, flow eighty"): a denial and the right value in one breath."""

    denials: tuple[str, ...]
    slots: tuple[Slot, ...]
    bare: bool = False
    """A single value without its name and without a denial is a correction too, of whichever it fits."""

    def pattern(self) -> Pattern:
        """Return a denial followed by one value, named or not."""
        values = choice(*(choice(slot.value_pattern(), slot.named_pattern()) for slot in self.slots))
        denied = sequence(phrases(self.denials), values)
        return choice(denied, *(slot.value_pattern() for slot in self.slots)) if self.bare else denied

    def read(self, words: Words) -> Iterator[Meaning]:
        """Yield the value for every slot it fits; a name settles which."""
        if self.bare:
            for slot in self.slots:
                for value in sorted(slot.called(words), key=str):
                    yield Correction(((None, value),))
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
            name = without_ending(words, ending)
            if name and " ".join(name) in self.names:
                yield Wrong(self.names[" ".join(name)])

    def examples(self) -> Words:
        """Return the first name."""
        return (f"{next(iter(self.names))} {self.endings[0]}",)
