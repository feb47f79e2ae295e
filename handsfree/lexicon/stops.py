"""What follows a stop, in any language: who leaves and who stays, and the steps before the work goes on.

A trade writes these facts in its `hazards.yaml`; the words of each step are the language's (`steps`). Nothing here
clears a hazard: each step is a question, and what is answered is a person's report.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from pydantic import Field, model_validator

from handsfree.blocks import Block, Exact, FieldName, Name, Names

People = Literal["leave", "stay"]


class Step(Block):
    """One question after a stop. Exactly one of `on`, `told` and `below` says how it is answered."""

    on: Names = ()
    """Answers that lead on."""
    again: Names = ()
    """Answers after which it is asked again: it is not so yet."""
    off: Names = ()
    """Answers after which the work does not go on: what is left is the way down."""
    open: Names = ()
    """On the way down: answers that lead on too, and leave open what was asked."""
    things: bool = False
    """On the way down: each altered thing that may be put back then is asked for, the last altered first."""
    told: bool = False
    """It is answered in free words, which are kept."""
    quantity: FieldName | None = None
    """It is answered by a value of this quantity."""
    below: Exact | None = None
    """The value must lie below this, in the quantity's unit; any other value is no way on."""
    times: int = Field(default=1, ge=1, le=3)
    """How often the value is read, one reading after the other."""
    as_called: bool = False
    """The values that stopped the work are called once more, off the display."""
    source: str = Field(min_length=1)
    """Where it comes from, or 'common practice, no source'."""

    @model_validator(mode="after")
    def _one_kind(self) -> Step:
        if sum((bool(self.on), self.told, self.quantity is not None, self.as_called, self.things)) != 1:
            raise ValueError("give one of on, told, quantity, as_called and things")
        if (self.quantity is None) != (self.below is None):
            raise ValueError("quantity and below belong together: give both or neither")
        return self

    @property
    def answers(self) -> tuple[str, ...]:
        """Its answers by name."""
        return (*self.on, *self.open, *self.again, *self.off)


class Stop(Block):
    """One hazard, or another reason to stop: what is walked before the work goes on."""

    people: People
    """Whether everybody leaves, or stays and goes down step by step."""
    requires: Names
    """The steps without which nothing may fire again; what the authors' proofs hold the rest against."""
    re_entry: Names
    """The steps before anything goes on, in order."""
    relight: Names = ()
    """The steps that are owed before anything fires, asked where something would fire next."""
    misheard: Names = ()
    """The shortest re-entry: of a stop that was misheard."""
    way_down: Names
    """The steps when the work is left off: states as reported, and who was told."""
    down: bool = False
    """Its order begins the way down."""
    once: bool = False
    """A second time in one visit the work does not go on."""
    source: str = Field(min_length=1)


class StopsFile(Block):
    """`hazards.yaml`: what follows each stop. The gravest stands first: its order outranks the others'."""

    handsfree: Literal[1]
    outside: Names
    """The steps asked of everybody who has left, in order."""
    steps: dict[Name, Step]
    stops: dict[Name, Stop]
    evacuate: Name
    """The stop that a passed limit is when everybody must leave."""
    limit: Name
    """The stop that any other passed limit is."""
    written: Name
    """The stop that a stop gate is which names none."""

    @model_validator(mode="after")
    def _known(self) -> StopsFile:
        for key in ("evacuate", "limit", "written"):
            name = getattr(self, key)
            if name not in self.stops:
                raise ValueError(f"{key}: there is no stop {name!r}; known: {', '.join(self.stops)}")
        for at, names in self._named():
            unknown = [name for name in names if name not in self.steps]
            if unknown:
                raise ValueError(f"{at} names a step that there is not: {', '.join(unknown)}")
        for name, stop in self.stops.items():
            if stop.people == "leave" and not stop.misheard:
                raise ValueError(f"stops.{name}: who left comes back by a step, also when it was misheard")
            for step in (*stop.re_entry, *stop.relight, *stop.misheard):
                if self.steps[step].open or self.steps[step].things:
                    raise ValueError(f"stops.{name}: {step} may leave something open, so it leads only down")
        return self

    def _named(self) -> Iterator[tuple[str, Names]]:
        yield "outside", self.outside
        for name, stop in self.stops.items():
            for key in ("requires", "re_entry", "relight", "misheard", "way_down"):
                yield f"stops.{name}.{key}", getattr(stop, key)

    def gravest_first(self, names: frozenset[str] | set[str]) -> tuple[str, ...]:
        """Return the stops of these names, the gravest first."""
        return tuple(name for name in self.stops if name in names)

    def re_entry(self, names: tuple[str, ...]) -> tuple[str, ...]:
        """Return the steps before anything goes on after these stops, each once."""
        return _each_once(self.stops, names, "re_entry")

    def relight(self, names: tuple[str, ...]) -> tuple[str, ...]:
        """Return the steps that are then owed before anything fires, each once."""
        return _each_once(self.stops, names, "relight")

    def way_down(self, names: tuple[str, ...]) -> tuple[str, ...]:
        """Return the steps when the work is left off after these stops, each once."""
        return _each_once(self.stops, names, "way_down")

    def misheard(self, names: tuple[str, ...]) -> tuple[str, ...]:
        """Return the steps after which stops that were misheard are left, each once."""
        return _each_once(self.stops, names, "misheard")


def _each_once(stops: Mapping[str, Stop], names: tuple[str, ...], key: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(step for name in names for step in getattr(stops[name], key)))
