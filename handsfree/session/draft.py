"""The answer to one input while it is being worked out, and what the kinds of gates that work on it can do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Meaning
from handsfree.procedure.model import ReadingsGate, TimedGate
from handsfree.procedure.phrases import Question
from handsfree.procedure.procedure import EXHAUSTED, FINISHED, PlacedGate
from handsfree.session import events as ev
from handsfree.session.plan import Plan
from handsfree.session.state import State, apply
from handsfree.session.utterance import Utterance
from handsfree.trades.stops import OpenStop


class Draft:
    """Collects the events of one decision; each is applied at once, so later ones build on earlier ones."""

    def __init__(self, plan: Plan, state: State, kinds: Mapping[str, GateKind]) -> None:
        self.plan = plan
        self.state = state
        self._kinds = kinds
        self.events: list[ev.Record] = []

    @property
    def at(self) -> int:
        """The time of the input, in ms."""
        return self.state.now

    @property
    def placed(self) -> PlacedGate:
        """The gate at hand."""
        return self.plan.gate(self.state.gate)

    @property
    def gate_kind(self) -> GateKind:
        """How the gate at hand behaves."""
        return self._kinds[self.placed.gate.kind]

    def emit(self, event: Any) -> None:
        """Add an event and apply it."""
        self.events.append(event)
        self.state = apply(self.plan, self.state, event)

    def words(self, saying: str, **blanks: str) -> str:
        """Return one of the tool's sayings, filled in."""
        return self.plan.catalogue.say(saying, **blanks)

    def say(self, saying: str, **blanks: str) -> None:
        """Say one of the tool's sayings."""
        self.tell(self.words(saying, **blanks))

    def tell(self, text: str) -> None:
        """Say a text that asks nothing."""
        self.emit(ev.Said(text=text))

    def ask(self, kind: str, text: str, about: str = "", *, attempt: int = 1, until: int | None = None) -> None:
        """Ask a question and expect its answer."""
        self.emit(ev.Asked(at=self.at, question=kind, about=about, text=text, attempt=attempt, until=until))

    def ask_again(self) -> None:
        """Ask the question at hand once more, as if new; a wait goes on silently to its end."""
        question, state = self.state.question, self.state
        text = "" if question.kind == "waiting" else state.text
        self.ask(question.kind, text, question.about, until=state.until)

    def ask_over(self) -> None:
        """Ask the question at hand in full, its silence going on; not while waiting or on hold."""
        question, state = self.state.question, self.state
        if state.held_since is None and question.kind not in {"waiting", "nothing"}:
            self.ask(question.kind, state.text, question.about, attempt=max(2, state.attempt), until=state.until)

    def wait(self, until: int, text: str) -> None:
        """Be silent until a time; only everywhere phrases and hazards are heard meanwhile."""
        self.ask("waiting", text, until=until)

    def stop(self, why: str, detail: str, script: str, source: str) -> None:
        """Make safe: speak the script, action first, and listen only for "cleared, because"."""
        self.emit(
            ev.Stopped(
                at=self.at,
                gate=self.state.gate,
                why=why,
                detail=detail,
                script=script,
                source=source,
                still_altered=tuple(self.state.altered),
            )
        )
        self.ask("stopped", script)

    def stop_at_limit(self, passed: OpenStop) -> None:
        """Make safe because a stop limit was passed."""
        detail = f"{passed.name} {passed.value}, {passed.limit}"
        self.stop("limit", detail, self.plan.catalogue.limits[passed.name], passed.source)

    def close(self, outcome: Any) -> None:
        """Record the last event."""
        state = self.state
        self.emit(
            ev.VisitClosed(
                at=self.at,
                outcome=outcome,
                still_altered=tuple(state.altered),
                not_done=state.not_done,
                readings=state.accepted,
                verdicts=dict(state.verdicts),
            )
        )

    def pass_gate(self, outcome: str) -> None:
        """Leave the gate by an outcome and enter the next, or end the visit."""
        gate, to = self.state.gate, self.placed.ways[outcome]
        self.emit(ev.GatePassed(at=self.at, gate=gate, outcome=outcome, to=to))
        if to == FINISHED:
            self.close("finished")
        else:
            self.enter(to)

    def enter(self, gate_id: str) -> None:
        """Enter a gate: its bound first, then unmet needs, then its own question."""
        placed = self.plan.gate(gate_id)
        gate = placed.gate
        self.emit(ev.GateEntered(at=self.at, gate=gate_id, title=gate.title))
        if gate.at_most is not None and self.state.entered[gate_id] > gate.at_most:
            self.say("get-help")
            self.pass_gate(EXHAUSTED)
            return
        if isinstance(gate, ReadingsGate | TimedGate) and gate.at in self.state.sets:
            self.emit(ev.SetVoided(kept_at=gate.at, why="taken again"))
        self.open()

    def open(self) -> None:
        """Ask for an unmet need, else open the gate itself."""
        unmet = self.unmet()
        if unmet is not None:
            thing, state = unmet
            said = self.plan.things[thing].said
            self.ask("thing-first", self.words("thing-first", thing=sentence_case(said), state=state), thing)
            return
        self.gate_kind.open(self)

    def unmet(self) -> tuple[str, str] | None:
        """Return the first need of the gate that does not hold, with the state it asks for."""
        for thing, wanted in self.placed.gate.needs.items():
            altered = self.plan.things[thing].altered == wanted
            if altered != (thing in self.state.altered):
                return thing, wanted
        return None

    def expected(self) -> Question:
        """Return the question at hand."""
        return self.state.question

    def names(self, quantities: Iterable[str]) -> str:
        """Return quantities as the tool says them, in a row."""
        return ", ".join(self.plan.name(quantity) for quantity in quantities)


class GateKind:
    """The behaviour of one kind of gate; the gate's own data is in the draft's procedure."""

    def open(self, draft: Draft) -> None:
        """Ask the gate's question, or decide at once."""
        raise NotImplementedError

    def hear(self, draft: Draft, meaning: Meaning, utterance: Utterance) -> bool:  # noqa: ARG002
        """Act on an answer to the question at hand; False when it does not answer it."""
        return False

    def time_up(self, draft: Draft) -> None:
        """Act when a wait has ended."""
        self.open(draft)

    def silence(self, draft: Draft) -> None:
        """Act when nothing was said after a read-back."""
        draft.ask_again()
