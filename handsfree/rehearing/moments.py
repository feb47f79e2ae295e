"""The utterances of a record, each with what the visit stood at: enough to understand its sound again."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.ledger import Entry, read
from handsfree.lexicon.grammar import Grammar
from handsfree.problem import Problem
from handsfree.session.apply import apply
from handsfree.session.plan import Plan
from handsfree.visit.folder import plan_of
from handsfree.visit.recorder import EntryReader, own_facts

SAID_BEFORE = 3
"""So many of the tool's last sentences may still be in the room, or in a loop of the sound card."""


@dataclass(frozen=True)
class RecordedUtterance:
    """One utterance as recorded: its entry, the state before it, what was listened for and said before."""

    seq: int
    heard: inp.Heard
    state: State
    grammar: Grammar
    said: tuple[str, ...]


@dataclass(frozen=True)
class Spoken:
    """All utterances of a visit, the plan they are understood by, and how many answers were typed."""

    plan: Plan
    moments: tuple[RecordedUtterance, ...]
    typed: int


def spoken_in(folder: Path) -> Spoken:
    """Return what was said in a visit, from its record; the states are those that the record adds up to.

    Raises Problem when the record or the procedure kept with it cannot be read.
    """
    entries = list(read(folder))
    facts = own_facts(entries[0].event) if entries else {}
    plan = plan_of(folder, str(facts.get("procedure", "")), facts.get("language")) if entries else None
    if plan is None:
        raise Problem("the record is empty", where=str(folder))
    typed = sum(entry.kind == "typed" for entry in entries)
    return Spoken(plan, tuple(_moments(folder, plan, entries)), typed)


def _moments(folder: Path, plan: Plan, entries: Iterable[Entry]) -> Iterator[RecordedUtterance]:
    reader, state = EntryReader(folder), State()
    said: deque[str] = deque(maxlen=SAID_BEFORE)
    used: dict[str, Grammar] = {plan.stop_grammar.automaton.identity: plan.stop_grammar}
    for entry in entries:
        try:
            event = reader.event(entry)
            if event is None:
                continue
            if isinstance(event, inp.Heard):
                now = plan.grammar(state.question, state.gate)
                used[now.automaton.identity] = now
                grammar = plan.stop_grammar if event.over_voice else used.get(event.grammar, now)
                yield RecordedUtterance(entry.seq, event, state, grammar, tuple(said))
            elif isinstance(event, ev.Said | ev.Asked) and event.text:
                said.append(event.text)
            state = apply(plan, state, event)
        except Problem:
            raise
        except Exception as error:  # the record is anybody's: whatever it provokes is told of it
            what = f"entry {entry.seq} cannot be followed ({type(error).__name__})"
            raise Problem(what, where=str(folder)) from error
