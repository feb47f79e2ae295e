"""What decides branches and conditions, held against sheets and gates: only what is declared may decide."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property
from types import UnionType
from typing import Annotated, Any, Literal, Protocol, Union, get_args, get_origin

from handsfree.documents import Place
from handsfree.gates import Gate
from handsfree.gates.branch import OTHERWISE
from handsfree.gates.kind import KeyPath
from handsfree.gates.outcomes import EXHAUSTED, NOT_ASKED
from handsfree.gates.table import LimitsTable
from handsfree.gates.when import NOT_COME_TO, NOT_GIVEN, is_fact
from handsfree.procedure.targets import need
from handsfree.trades.calculation import NO_LIMIT
from handsfree.trades.sheets import Sheets

MOST_COMBINATIONS = 4_096
"""Of the values of all that decides in one file, with the facts of the sheets: the proofs go through each."""


class DecidedGate(Protocol):
    """A gate in its place: its full id, where its outcomes lead, and where its keys are written."""

    @property
    def id(self) -> str:
        """Its full id."""

    @property
    def gate(self) -> Gate:
        """Its block."""

    @property
    def transitions(self) -> Mapping[str, str]:
        """Where each outcome leads."""

    @property
    def place(self) -> Place:
        """Where it stands."""

    def at(self, *path: str | int) -> Place:
        """Return where a key of the gate stands."""

    def key_at(self, *path: str | int) -> Place:
        """Return where the name of a key of the gate stands."""


def prefix_of(placed: DecidedGate) -> str:
    """Return what the ids of the gates of the same file begin with."""
    return placed.id.removesuffix(placed.gate.id)


def full_decider(placed: DecidedGate, decider: str) -> str:
    """Return a decider as it is named throughout the procedure: a fact of a sheet, or the full id of a gate."""
    return decider if is_fact(decider) else prefix_of(placed) + decider


def conditions(placed: DecidedGate) -> dict[str, tuple[str, ...]]:
    """Return the conditions of a gate, each decider by its full name."""
    return {full_decider(placed, decider): values for decider, values in placed.gate.when.items()}


def followed(placed: DecidedGate) -> str | None:
    """Return the full name of what a branch follows; None at any other gate."""
    follows = placed.gate.effects.follows
    return None if follows is None else full_decider(placed, follows.fact or follows.answer or "")


def deciders(placed: DecidedGate) -> tuple[str, ...]:
    """Return the full names of all that decides at a gate; the facts that choose its row of a table do too."""
    follows, table = followed(placed), table_of(placed)
    return tuple(
        dict.fromkeys(
            (
                *conditions(placed),
                *(() if follows is None else (follows,)),
                *(() if table is None else table.facts),
            )
        )
    )


def table_of(placed: DecidedGate) -> LimitsTable | None:
    """Return the table that a verdict takes its limits from."""
    judges = placed.gate.effects.judges
    return None if judges is None or judges.limits is None else judges.limits.rows


def _row_allows(placed: DecidedGate, known: Mapping[str, str], outcome: str) -> bool:
    """Say whether a verdict by a table can be left so, as far as its row is known: by `no-limit` or otherwise."""
    table, judges = table_of(placed), placed.gate.effects.judges
    if table is None or judges is None or judges.limits is None:
        return True
    if not table.rows_of({**known, **judges.limits.at}):
        return outcome == NO_LIMIT
    return outcome != NO_LIMIT or table.numbered is not None or not set(table.facts) <= set(known)


def may_open(placed: DecidedGate, known: Mapping[str, str]) -> bool:
    """Say whether a gate's conditions can hold, as far as its deciders are known."""
    return all(known.get(decider, values[0]) in values for decider, values in conditions(placed).items())


def may_leave(placed: DecidedGate, outcome: str, known: Mapping[str, str]) -> bool:
    """Say whether a gate can be left by the outcome, as far as its deciders are known."""
    if outcome == EXHAUSTED:  # the bound is looked at before all else
        return True
    if outcome == NOT_ASKED:
        return any(known.get(decider) not in values for decider, values in conditions(placed).items())
    by, follows = followed(placed), placed.gate.effects.follows
    if by is not None and follows is not None and by in known:
        led = known[by] if known[by] in follows.values else OTHERWISE
        return led == outcome and may_open(placed, known)
    return may_open(placed, known) and _row_allows(placed, known, outcome)


@dataclass(frozen=True)
class Beside:
    """What may decide: the gates of each file by their full ids with their outcomes, and the sheets."""

    outcomes: Mapping[str, tuple[str, ...]]
    by_prefix: Mapping[str, tuple[str, ...]]
    sheets: type[Sheets]

    @classmethod
    def of(cls, gates: Iterable[DecidedGate], sheets: type[Sheets]) -> Beside:
        """Return what the gates of a procedure, and the sheets of its trade, let decide."""
        outcomes: dict[str, tuple[str, ...]] = {}
        by_prefix: dict[str, tuple[str, ...]] = {}
        for placed in gates:
            outcomes[placed.id] = tuple(placed.transitions)
            prefix = prefix_of(placed)
            by_prefix[prefix] = (*by_prefix.get(prefix, ()), placed.gate.id)
        return cls(outcomes, by_prefix, sheets)

    @cached_property
    def facts(self) -> Mapping[str, tuple[str, ...]]:
        """Return each fact of the sheets that has choices, with these, and that it may not be given."""
        return facts_with_choices(self.sheets)

    def values(self, decider: str) -> tuple[str, ...]:
        """Return every value of a decider by its full name."""
        if is_fact(decider):
            return self.facts[decider]
        return (*self.outcomes[decider], NOT_COME_TO)


def facts_with_choices(sheets: type[Sheets]) -> dict[str, tuple[str, ...]]:
    """Return each fact of the sheets that has choices, with these; one that may be left out can be "not given"."""
    found = {}
    for sheet in ("job", "appliance"):
        model = sheets.model_fields[sheet].annotation
        for name, choices in choices_of(model).items():
            if choices:
                optional = type(None) in get_args(getattr(model, "model_fields", {})[name].annotation)
                found[f"{sheet}.{name}"] = (*choices, *((NOT_GIVEN,) if optional else ()))
    return found | sheets.choices()


def check_deciders(placed: DecidedGate, beside: Beside) -> None:
    """Raise Problem at the word that is wrong when a condition or a branch names what cannot decide so."""
    for decider, values in placed.gate.when.items():
        _known(decider, placed, beside, placed.key_at("when", decider))
        known = beside.values(full_decider(placed, decider))
        for number, value in enumerate(values):
            listed = placed.at("when", decider, number)
            _refuse_unknown(decider, value, known, listed)
        lasting = set(known) - {NOT_COME_TO}
        if is_fact(decider):
            need(lasting - set(values), f"every value of {decider} is named, so it decides nothing",
                 placed.at("when", decider), "leave it out, or one of them")  # fmt: skip
    follows = placed.gate.effects.follows
    if follows is None:
        return
    decider, key = follows.fact or follows.answer or "", "fact" if follows.fact else "answer"
    _known(decider, placed, beside, placed.at(key))
    known = tuple(one for one in beside.values(full_decider(placed, decider)) if one not in _OTHERS)
    for value in follows.values:
        _refuse_unknown(decider, value, known, placed.key_at("branches", value))


_OTHERS = (NOT_GIVEN, NOT_COME_TO)
"""What a branch leads `otherwise` for."""


def _known(decider: str, placed: DecidedGate, beside: Beside, at: Place) -> None:
    """Raise Problem when nothing of the name can decide."""
    if not is_fact(decider):
        gates = beside.by_prefix[prefix_of(placed)]
        need(decider in gates, f"there is no gate {decider!r}", at, _nearest(decider, gates))
        need(decider != placed.gate.id, f"{decider} cannot decide about itself", at, "name an earlier gate")
        return
    sheet, _, name = decider.partition(".")
    fields = getattr(beside.sheets.model_fields[sheet].annotation, "model_fields", {})
    of_it = tuple(fact for fact in beside.facts if fact.startswith(f"{sheet}."))
    remedy = f"with choices are: {', '.join(of_it) or 'none'}"
    near = get_close_matches(decider, of_it, 1)
    need(name in fields, f"the {sheet} sheet has no fact {name!r}", at,
         f"did you mean {near[0]!r}? {remedy}" if near else remedy)  # fmt: skip
    need(decider in beside.facts, f"{decider} is no choice, so nothing can follow from it", at, remedy)


def _refuse_unknown(decider: str, value: str, known: tuple[str, ...], at: Place) -> None:
    need(value in known, f"{decider} is never {value!r}", at, _nearest(value, known))


def _nearest(name: str, known: Iterable[str]) -> str:
    known = tuple(known)
    near = get_close_matches(name, known, 1)
    return (f"did you mean {near[0]!r}? " if near else "") + f"write any of: {', '.join(known)}"


def refuse_too_many(gates: Iterable[DecidedGate], beside: Beside) -> None:
    """Raise Problem at the condition or branch with which the combinations of one file grow too many.

    What decides in a file are facts of the sheets, wherever they are named, its own gates, and the gates of the
    files that it is put into.
    """
    placed = list(gates)
    facts: dict[str, None] = {}
    own: dict[str, dict[str, None]] = {}
    for one in placed:
        for decider in deciders(one):
            (facts if is_fact(decider) else own.setdefault(prefix_of(one), {}))[decider] = None
            combinations = max(_product((*facts, *_above(prefix, own)), beside) for prefix in (*own, ""))
            what = f"what decides here has {combinations:,} combinations, and {MOST_COMBINATIONS:,} are the most"
            need(
                combinations <= MOST_COMBINATIONS, what, _where(one, decider), "let fewer facts and answers decide"
            )


def _above(prefix: str, own: Mapping[str, Mapping[str, None]]) -> Iterator[str]:
    for other, names in own.items():
        if prefix.startswith(other):
            yield from names


def _product(names: Iterable[str], beside: Beside) -> int:
    found = 1
    for name in names:
        found *= len(beside.values(name))
    return found


def _where(placed: DecidedGate, decider: str) -> Place:
    for written in placed.gate.when:
        if full_decider(placed, written) == decider:
            return placed.key_at("when", written)
    table = table_of(placed)
    if table is not None and decider in table.facts:
        return placed.at("limits", "table")
    key: KeyPath = ("fact",) if is_fact(decider) else ("answer",)
    return placed.at(*key)


def choices_of(sheet: Any) -> dict[str, tuple[str, ...]]:
    """Return each fact of a sheet's class with its choices; none for what is no choice."""
    fields = getattr(sheet, "model_fields", {})
    return {name: _literals(field.annotation) for name, field in fields.items()}


def _literals(kind: Any) -> tuple[str, ...]:
    origin = get_origin(kind)
    if origin is Literal:
        return tuple(value for value in get_args(kind) if isinstance(value, str))
    if origin not in {Union, UnionType, Annotated}:  # what holds choices inside, such as a list, is none itself
        return ()
    return tuple(value for one in get_args(kind) for value in _literals(one))
