"""The answer to one input while it is being worked out, and what gates may see and do of the visit meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.events.state import Interrupted, State
from handsfree.gates import Gate
from handsfree.gates.asking import asks_of_turns
from handsfree.gates.block import Settle
from handsfree.gates.outcomes import DROPPED_BACK, EXHAUSTED, FINISHED, NOT_ASKED
from handsfree.gates.visit import Judging, SettlingJudgement, TurnAdvice, Turning, Untrue, Unusual
from handsfree.gates.when import holds
from handsfree.lexicon.catalogue import Catalogue, sentence_case
from handsfree.lexicon.meaning import Called
from handsfree.procedure.branching import full_decider
from handsfree.procedure.procedure import PlacedGate
from handsfree.questions import Question
from handsfree.questions.ask import Thing
from handsfree.questions.keep_sound import KeepSound
from handsfree.questions.outside import Outside
from handsfree.questions.put_back import PutBack
from handsfree.questions.stopped import AfterStop
from handsfree.questions.thing_first import ThingFirst
from handsfree.questions.waiting import Waiting
from handsfree.session import (
    advising,
    calculations,
    deciding,
    last_time,
    old_readings,
    photos,
    proving,
    settling,
    stops,
    ties,
    usual,
    witness,
)
from handsfree.session.apply import apply
from handsfree.session.plan import Plan
from handsfree.session.stop_orders import StopCause, order, question_of_step, way_down
from handsfree.trades.calculation import Judgement
from handsfree.trades.stops import OpenStop

FLICKER_STEPS = 1
"""Steps between two calls of one live display, where the trade gives no room: common practice, no source."""


class Draft:
    """Collects the events of one decision; each is applied at once, so later ones build on earlier ones."""

    def __init__(self, plan: Plan, state: State) -> None:
        self.plan = plan
        self.state = state
        self.events: list[ev.Decision] = []
        self.states: list[State] = []
        """The state after each of the events."""

    @property
    def at(self) -> int:
        """The time of the input, in ms."""
        return self.state.now

    @property
    def placed(self) -> PlacedGate:
        """The gate at hand, with its place in the procedure."""
        return self.plan.gate(self.state.gate)

    @property
    def gate(self) -> Gate:
        """The gate at hand."""
        return self.placed.gate

    @property
    def transitions(self) -> Mapping[str, str]:
        """Where each outcome of the gate at hand leads."""
        return self.placed.transitions

    @property
    def catalogue(self) -> Catalogue:
        """The words of the language."""
        return self.plan.catalogue

    @property
    def things(self) -> Mapping[str, Thing]:
        """What the procedure may alter."""
        return self.plan.things

    @property
    def asked(self) -> tuple[str, ...]:
        """The gates passed that were asked: nothing leads back to one that was not, which would be passed over."""
        passed, outcomes = self.state.passed, self.state.outcomes
        return tuple(gate_id for gate_id in passed if outcomes.get(gate_id) != NOT_ASKED)

    def person(self, number: str) -> tuple[str, bool] | None:
        """Return who has a number, and whether they may answer second; None when nobody has it."""
        return self.plan.sheets.job.numbered().get(number)

    def known(self, decider: str) -> str:
        """Return what is known of what decides: a fact of a sheet, or how an earlier gate was passed last."""
        return deciding.known(self.plan, self.state, full_decider(self.placed, decider))

    def fill(self, text: str) -> str:
        """Return a prompt with the blanks filled in from the sheets."""
        return self.plan.fill(text)

    def words(self, saying: str, **blanks: str) -> str:
        """Return one of the tool's sayings, filled in."""
        return self.catalogue.say(saying, **blanks)

    def name(self, quantity: str) -> str:
        """Return a quantity as the tool says it."""
        return self.plan.name(quantity)

    def names(self, quantities: Iterable[str]) -> str:
        """Return quantities as the tool says them, in a row."""
        return ", ".join(self.plan.name(quantity) for quantity in quantities)

    def emit(self, event: ev.Decision) -> None:
        """Add an event and apply it."""
        self.events.append(event)
        self.state = apply(self.plan, self.state, event)
        self.states.append(self.state)

    def say(self, saying: str, **blanks: str) -> None:
        """Say one of the tool's sayings."""
        self.tell(self.words(saying, **blanks))

    def tell(self, text: str) -> None:
        """Say a text that asks nothing."""
        self.emit(ev.Said(text=text))

    def ask(self, question: Question, text: str, *, attempt: int = 1, until: int | None = None) -> None:
        """Ask a question and expect its answer."""
        self.emit(ev.Asked(at=self.at, question=question, text=text, attempt=attempt, until=until))

    def ask_again(self) -> None:
        """Ask the question at hand once more, as if new; a wait goes on silently to its end."""
        question, state = self.state.question, self.state
        text = state.text if question.manner.awaits != "time" else ""
        self.ask(question, text, until=state.until)

    def ask_over(self) -> None:
        """Ask the question at hand in full, its silence going on; not while waiting or on hold."""
        question, state = self.state.question, self.state
        if state.held_since is None and question.manner.awaits == "answer":
            self.ask(question, state.text, attempt=max(2, state.attempt), until=state.until)

    def ask_interrupted(self, back: Interrupted) -> None:
        """Go back to a question that another one interrupted; a wait goes on silently to its end."""
        text = back.text if back.question.manner.awaits == "answer" else ""
        self.ask(back.question, text, until=back.until)

    def ask_to_put_back(self, things: Iterable[str]) -> bool:
        """Ask for the first of the things to be put back; False when there is none."""
        for name in things:
            text = self.words("thing-now", thing=sentence_case(self.things[name].said))
            self.ask(PutBack(thing=name), text)
            return True
        return False

    def ask_of_turn(self) -> None:
        """Ask what is next about the turn that is open."""
        self.ask(*advising.question_of_turn(self.plan, self.state))

    def wait(self, until: int, text: str) -> None:
        """Be silent until a time; only everywhere phrases and hazards are heard meanwhile."""
        self.ask(Waiting(), text, until=until)

    def stop(
        self,
        why: str,
        detail: str,
        script: str,
        source: str,
        *,
        by: ev.StoppedBy,
        hazard: str | None = None,
        undoable: bool = False,
        called: Iterable[ev.ReadingRecord] = (),
    ) -> None:
        """Speak the order, action first, and listen only for how it goes on."""
        facts = self.catalogue.stops
        hazard = hazard or facts.written
        cause = StopCause(why, detail, script, source, by, hazard, undoable, tuple(called))
        stopped = order(self.plan, self.state, cause)
        self.emit(stopped)
        if facts.stops[hazard].down and stopped.people == "stay":
            self.tell(stopped.script)
            self.go_down()
        else:
            self.ask(Outside() if stopped.people == "leave" else AfterStop(ways=stopped.ways), stopped.script)

    def go_down(self) -> None:
        """Ask what is reported when the work is left off: what was switched off and put back, and who was told."""
        self.emit(ev.StepsBegun(at=self.at, part="way-down", steps=way_down(self.plan, self.state)))
        self.ask_step()

    def ask_step(self) -> None:
        """Ask the step at hand of those that are walked after a stop."""
        self.ask(*question_of_step(self.plan, self.state))

    def owe(self, hazard: str, *, cause: bool) -> None:
        """Owe the steps before anything fires again, after what ran went out; with its cause named first."""
        facts, hazards = self.catalogue.stops, (hazard,)
        steps = (*(facts.re_entry(hazards) if cause else ()), *facts.relight(hazards))
        self.emit(ev.StepsOwed(at=self.at, steps=steps, hazards=hazards))

    def stop_at(self, passed: OpenStop, values: Mapping[str, ev.ReadingRecord]) -> None:
        """Stop because values passed a stop limit."""
        facts = self.catalogue.stops
        detail = f"{passed.name} {passed.value}, {passed.limit}"
        self.stop(
            "limit",
            detail,
            self.catalogue.limits[passed.name],
            passed.source,
            by="values",
            hazard=facts.evacuate if passed.severity == "evacuate" else facts.limit,
            called=values.values(),
        )

    def lacking(self) -> tuple[ev.Lacking, ...]:
        """Return what the procedure is for and the visit has not shown."""
        return proving.lacking(self.plan, self.state)

    def close(self, outcome: ev.Ending) -> None:
        """Record the last event."""
        self.emit(proving.closed(self.plan, self.state, outcome))

    def pass_gate(self, outcome: str) -> None:
        """Leave the gate by an outcome and enter the next, or end the visit."""
        gate, to = self.state.gate, self.transitions[outcome]
        self.emit(ev.GatePassed(at=self.at, gate=gate, outcome=outcome, to=to))
        if to == FINISHED:
            self.close("finished")
        else:
            self.enter(to)

    def enter(self, gate_id: str) -> None:
        """Enter a gate: its bound first, then whether it is asked, then unmet needs, then its own question."""
        gate = self.plan.gate(gate_id).gate
        self.emit(ev.GateEntered(at=self.at, gate=gate_id, title=gate.title))
        if gate.at_most is not None and self.state.entered[gate_id] > gate.at_most:
            self.say("get-help")
            self.pass_gate(EXHAUSTED)
            return
        if not holds(gate.when, self.known):
            self.pass_gate(NOT_ASKED)
            return
        if gate.effects.kept_at in self.state.sets:
            self.emit(ev.SetVoided(kept_at=gate.effects.kept_at, why="taken again"))
        if gate.photo and self.state.entered[gate_id] == 1 and gate_id in photos.wanted(self.plan, self.state):
            self.say("photo-wanted", what=self.plan.fill(gate.photo))
        self.open()

    def go_back(self, gate_id: str) -> None:
        """Go back to a gate; nothing is un-altered, unmet needs are asked there."""
        self.emit(ev.WentBack(at=self.at, gate=self.state.gate, to=gate_id))
        self.enter(gate_id)

    def open(self) -> None:
        """Ask whether sound is kept, for a turn left open, for an unmet need, else open the gate itself."""
        if self.state.consent_due:
            self.ask(KeepSound(), self.words("keep-sound"))
            return
        if self.state.turn is not None and asks_of_turns(self.gate):
            self.ask_of_turn()
            return
        unmet = self.unmet()
        if unmet is None and self.state.owed and self._would_fire():
            self.emit(ev.StepsBegun(at=self.at, part="relight", steps=self.state.owed))
            self.ask_step()
            return
        if unmet is None:
            self.gate.open(self)
            return
        thing, state = unmet
        said = sentence_case(self.things[thing].said)
        self.ask(ThingFirst(thing=thing), self.words("thing-first", thing=said, state=state))

    def _would_fire(self) -> bool:
        """Say whether something fires at the gate, or is left to fire by itself once the visit is finished."""
        fired = any(self.plan.gate(gate_id).gate.firing for gate_id in self.state.entered)
        return self.gate.firing or (self.gate.effects.end == "finish" and fired)

    def unmet(self) -> tuple[str, str] | None:
        """Return the first need of the gate that does not hold, with the state it asks for."""
        return self.plan.unmet(self.state.gate, self.state.altered)

    def lose_rate(self, why: str) -> None:
        """Void the set and go back to where the rate is held."""
        self.emit(ev.SetVoided(kept_at=self.gate.effects.kept_at, why=why))
        self.say("set-void")
        self.pass_gate(DROPPED_BACK)

    def record_of(self, quantity: str, called: Called) -> ev.ReadingRecord:
        """Return a called value as it is recorded."""
        return self.plan.record_of(quantity, called)

    def stop_if_beyond(self, values: Mapping[str, ev.ReadingRecord], *, may_adjust: bool = True) -> bool:
        """Stop the visit when the values pass a stop limit; False when they do not."""
        passed = stops.stops_open(self.plan, values, may_adjust=may_adjust)
        if passed:
            self.stop_at(passed[0], values)
        return bool(passed)

    def beyond(self, values: Mapping[str, ev.ReadingRecord]) -> bool:
        """Say whether the values pass a stop limit."""
        return bool(stops.stops_open(self.plan, values))

    def decides_a_stop(self, quantity: str, values: Mapping[str, ev.ReadingRecord]) -> bool:
        """Say whether the quantity, alone or with the others, passes a stop limit."""
        return stops.decides_a_stop(self.plan, quantity, values)

    def untrue(self, *, surely: bool = False) -> Untrue | None:
        """Return why the values of the set at hand cannot be true together; `surely` by settled readings alone."""
        return ties.untrue(self.plan, self.state, surely=surely)

    def witnessed(self, called: ev.ReadingRecord, onset: int) -> ev.InstrumentCompared | None:
        """Return how the instrument's row nearest in time stands to a called value; None without one."""
        return witness.compared(self.plan, self.state, called, onset)

    def as_shown(self, compared: ev.InstrumentCompared) -> str:
        """Return what the instrument shows as the tool says it, in the unit that was called."""
        return witness.as_said(self.plan, compared.shown, compared.reading)

    def unusual(self, quantities: Iterable[str]) -> tuple[Unusual, ...]:
        """Return what of some called values is unusual; nothing where a stop limit is passed."""
        return usual.unusual(self.plan, self.state, self, tuple(quantities))

    def confirmed_by_others(self) -> tuple[str, ...]:
        """Return the called quantities that silence may accept."""
        return ties.confirmed(self.plan, self.state)

    def same_display(self, quantity: str, resolution: Decimal) -> Decimal:
        """Return how far two calls of one live display may lie apart."""
        return self.plan.trade.flicker.get(quantity, FLICKER_STEPS * resolution)

    def settle_seconds(self, settle: Settle) -> int:
        """Return how long to wait after a change: the maker's wait when that is longer."""
        return settling.settle_seconds(self.plan, settle)

    def judge_sets(self, kept_at: str, settle: Settle) -> tuple[SettlingJudgement, ...]:
        """Judge whether each quantity kept under a name has settled."""
        return settling.judge_sets(self.plan, self.state, kept_at, settle)

    def stop_if_rising(self, kept_at: str, settle: Settle) -> bool:
        """Stop the visit when a quantity rises that must not; False when none does."""
        passed = settling.rising_stop(self.plan, self.state, kept_at, settle)
        if passed is not None:
            taken = self.state.readings(kept_at)
            self.stop_at(passed, taken[-1].values if taken else {})
        return passed is not None

    def tell_last_time(self) -> None:
        """Say what an earlier visit left of the values that were just accepted, and an unusual change."""
        compared = last_time.compared(self.plan, self.state)
        if compared:
            gate = self.state.gate
            self.emit(ev.LastTimeTold(at=self.at, gate=gate, kept_at=self.gate.effects.kept_at, compared=compared))
            for text in last_time.compared_words(self.plan, compared):
                self.tell(text)

    def hold_ran_out(self) -> bool:
        """Say whether the appliance has let go of the held rate by itself, by the maker's time."""
        return old_readings.hold_ran_out(self.plan, self.state)

    def read_again(self, kept_at: str) -> bool:
        """Go back to where the rate is held for readings that a long pause made old; False when none are."""
        return old_readings.before(self.state, kept_at, self.state.old_before) and self._back_for(kept_at)

    def judged_again(self, kept_at: Iterable[str]) -> bool:
        """Void what a long stop made old of what is to be judged, and go back for it; False when nothing is."""
        old = old_readings.judged(self.plan, self.state, kept_at)
        if not old or old_readings.taken_from(self.plan, self.asked, old[0]) is None:
            return False
        for one in old:
            self.emit(ev.SetVoided(kept_at=one, why="the work was stopped for minutes since"))
        return self._back_for(old[0])

    def _back_for(self, kept_at: str) -> bool:
        gate_id = old_readings.taken_from(self.plan, self.asked, kept_at)
        if gate_id is None:
            return False
        takes = self.plan.gate(gate_id).gate.effects.kept_at == kept_at
        self.say("readings-again" if takes else "readings-old")
        self.go_back(gate_id)
        return True

    def judge(self, judging: Judging) -> Judgement:
        """Carry out a calculation of the trade."""
        return calculations.judge(self.plan, self.state, judging)

    def advise(self, turning: Turning) -> TurnAdvice:
        """Return the advice for one turn of an adjuster."""
        return advising.advice_for(self.plan, self.state, turning)
