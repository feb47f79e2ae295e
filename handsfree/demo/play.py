"""The demo: a whole visit on real sound, in a clock of its own so that it takes seconds and not an hour.

A voice plays the invented technician; burner roar is mixed in; the real listener and recogniser hear it; the
real session decides; the real ledger keeps it. Nothing that is heard is handed past the recogniser.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

from handsfree.demo.boiler import InventedBoiler
from handsfree.demo.sound import RATE, Samples, burner_roar, in_the_closet
from handsfree.demo.technician import InventedTechnician
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.hearing.listener import Listener, Utterance, UtteranceRecogniser
from handsfree.hearing.sources import Recording
from handsfree.ledger import Head, Moment
from handsfree.ledger.clock import boot_identity
from handsfree.problem import ExitCode, Problem
from handsfree.questions import Question
from handsfree.questions.stopped import AfterStop
from handsfree.trades.combustion.stops import fuel_of
from handsfree.visit.hearing import heard_from
from handsfree.visit.recorder import Recorder, spoken

BEFORE_S, AFTER_S = 0.7, 1.3
"""Roar before and after each thing said."""

SPEAKING_S_PER_WORD = 0.35
"""How long the tool's own speech is taken to last."""

TRIES = 4
"""After so many hearings without an answer the technician uses the keys, as a person would."""

Say = Callable[[str], "Samples | None"]
Tell = Callable[[str, str], None]


LONGEST_DEMO_MS = 6 * 3_600_000
"""No demo takes so long in its own time, so that its last entry is not dated in the future."""


class DemoClock:
    """A steady clock that goes as fast as it is told; its wall time starts some hours before the real one."""

    def __init__(self) -> None:
        self._wall = time.time_ns() // 1_000_000 - LONGEST_DEMO_MS
        self._boot = boot_identity()
        self.ms = 0

    def now(self) -> Moment:
        """Return the demo's present."""
        return Moment(self._wall + self.ms, self.ms, self._boot)

    def passes(self, seconds: float) -> None:
        """Let time pass."""
        self.ms += round(1000 * seconds)


@dataclass
class Tally:
    """What was said and what became of it."""

    said: int = 0
    right: int = 0
    wrong: int = 0
    not_understood: int = 0
    typed: int = 0
    false_stops: int = 0
    turns: int = 0
    heard_as: list[tuple[str, str]] = field(default_factory=list)
    """(said, heard) where they differ and something was heard."""


@dataclass
class DemoOutcome:
    """How the demo ended."""

    folder: Path
    head: Head
    outcome: str
    tally: Tally
    seconds: float


def scenario_files() -> tuple[Path, Path]:
    """Return the job sheet and the folder it stands in."""
    folder = Path(str(resources.files("handsfree.demo")))
    return folder / "jobsheet.yaml", folder


class Demo:
    """Plays the scenario; `say` renders the technician's voice at 16 kHz, `tell` prints a line of the dialogue."""

    def __init__(
        self,
        recorder: Recorder,
        clock: DemoClock,
        *,
        recogniser: UtteranceRecogniser,
        say: Say,
        tell: Tell,
        snr_db: float,
        boiler: InventedBoiler | None = None,
    ) -> None:
        """Play at a `boiler`, which is found lean at maximum when it is left out."""
        plan = recorder.plan
        self._plan, self._recorder, self._clock = plan, recorder, clock
        self._say, self._tell, self._snr_db = say, tell, snr_db
        self._listener = Listener(recogniser, plan.stop_grammar.automaton)
        self._technician = InventedTechnician(plan, boiler or InventedBoiler(fuel_of(plan.sheets)))
        self._roar = burner_roar(30.0, seed=11)
        self._shift = random.Random(11)  # noqa: S311 - a scenario, not a secret
        self._misses = self._tries = 0
        self._here: tuple[str, Question, int] | None = None
        self._asked = recorder.state.question, recorder.state.gate
        self.tally = Tally()

    def play(self, opening: tuple[ev.Decision, ...]) -> DemoOutcome:
        """Play to the end of the visit."""
        began = time.monotonic()
        self._hear_tool(opening)
        while not self._recorder.closed:
            if isinstance(self._recorder.state.question, AfterStop):
                self.tally.false_stops += 1  # no stop is written into the scenario
            self._turn()
        head = self._recorder.head()
        outcome = self._recorder.state.outcome
        assert outcome == "finished", f"the scenario ended {outcome}"
        closing = self._plan.catalogue.say("finished", count=str(head.count), checksum=head.checksum)
        self._tell("tool", closing)
        return DemoOutcome(self._recorder.folder, head, outcome, self.tally, time.monotonic() - began)

    def _turn(self) -> None:
        state, due = self._recorder.state, self._recorder.deadline()
        if state.question.manner.awaits == "time":
            assert due is not None
            self._clock.passes(max(0, due - self._recorder.now()) / 1000)
            self._hear_tool(self._recorder.take(inp.TimePassed(at=self._recorder.now())))
            return
        self._clock.passes(self._technician.seconds_before(state))
        words = self._technician.answer(state)
        if self._stuck(state):
            self.tally.typed += 1
            self._tell("keys", words)
            self._decided(self._recorder.take(inp.Typed(at=self._recorder.now(), text=words)), words)
            return
        self._tell("person", words)
        self._speak(words)

    def _stuck(self, state: State) -> bool:
        """Say whether the same answer has been tried often enough for a person to take to the keys."""
        here = (state.gate, state.question, state.accepted)
        self._tries = self._tries + 1 if here == self._here else 0
        self._here = here
        return self._misses >= TRIES or self._tries >= TRIES

    def _speak(self, words: str) -> None:
        """Say it into the closet and let whatever is heard be acted on."""
        self.tally.said += 1
        clip = self._say(words)
        if clip is None:
            raise Problem(
                "the demo has no voice for its technician",
                remedy="install one with: sudo apt install espeak-ng",
                code=ExitCode.FAILED,
            )
        start = self._shift.randrange(self._roar.size // 2)
        scene = in_the_closet(clip, self._roar[start:], self._snr_db, BEFORE_S, AFTER_S)
        question, gate = self._asked = self._recorder.state.question, self._recorder.state.gate
        self._listener.listen_for(self._plan.grammar(question, gate).automaton)
        began = self._recorder.now()
        found = [one for one in self._listener.utterances(Recording(scene)) if isinstance(one, Utterance)]
        self._clock.passes(scene.size / RATE)
        if not found:
            self._missed(words, "")
        for utterance in found:
            sound = self._recorder.keep_sound(utterance.samples, RATE)
            identity = self._plan.grammar(question, gate).automaton.identity
            heard = heard_from(utterance, began, self._recorder.now(), identity, sound)
            self._decided(self._recorder.take(heard), words, heard)
            if self._recorder.closed or self._recorder.state.question != question:
                break

    def _decided(self, decisions: tuple[ev.Decision, ...], words: str, heard: inp.Heard | None = None) -> None:
        understood = any(isinstance(event, ev.Understood) for event in decisions)
        text = " ".join(heard.alternatives[0].text) if heard and heard.alternatives else ""
        if heard is not None and not understood:
            self._missed(words, text)
        else:
            self._misses = 0
            if heard is not None:
                self._count(words, text, heard)
        self.tally.turns += sum(isinstance(event, ev.Turned) for event in decisions)
        self._hear_tool(decisions)

    def _count(self, words: str, text: str, heard: inp.Heard) -> None:
        grammar = self._plan.grammar(*self._asked)
        meant = grammar.read(tuple(words.split()))[:1]
        taken = next((grammar.read(one.text) for one in heard.alternatives if grammar.read(one.text)), ())[:1]
        if words == text or (meant and meant == taken):
            self.tally.right += 1
        else:
            self.tally.wrong += 1
            self.tally.heard_as.append((words, text))
            self._tell("heard", text)

    def _missed(self, words: str, text: str) -> None:
        self._misses += 1
        self.tally.not_understood += 1
        if text:
            self.tally.heard_as.append((words, text))
        self._tell("heard", text or "nothing")
        if not text:
            due = self._recorder.deadline()
            if due is not None:
                self._clock.passes(max(0, due - self._recorder.now()) / 1000)
                self._hear_tool(self._recorder.take(inp.TimePassed(at=self._recorder.now())))

    def _hear_tool(self, events: tuple[ev.Decision, ...]) -> None:
        """Let the tool speak, the technician notice what happened, and the clock go on."""
        texts = spoken(events)
        for text in texts:
            self._tell("tool", text)
            self._clock.passes(0.3 + SPEAKING_S_PER_WORD * len(text.split()))
        self._technician.notice(events, self._recorder.state.now / 1000)
        if texts and not self._recorder.closed:
            self._recorder.take(inp.SpeechEnded(at=self._recorder.now()))
