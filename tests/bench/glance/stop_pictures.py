"""Take pictures of stops: `python tests/bench/glance/stop_pictures.py FOLDER [--all]`.

One recorded visit of the demo's scenario, with a clock that is told, is led to a scene; what a person would see
then is taken from the running program: the screen's own lines on a terminal of 80 by 24, the phone's page in
Debian's Chromium at 390 by 844. Without `--all` or names of scenes only the pictures that the README shows.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Literal

sys.path.insert(0, str(Path(__file__).resolve().parent))

import pyte
from pictures import JOB_SHEET, PROCEDURE, ToldClock, drawn, photograph, step, technician

from handsfree.events import inputs as inp
from handsfree.glance import screen
from handsfree.glance.terminal import Painter
from handsfree.glance.watching import LiveScreen
from handsfree.glance.web import Page
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder

WIDE_CELLS, HIGH_CELLS = 80, 24


@dataclass(frozen=True)
class Scene:
    """Where the visit is led to, what is said there, and on what the README shows it."""

    name: str
    gate: str
    said: tuple[str, ...]
    shown: Literal["terminal", "phone"] | None = None


DOWN = ("stop work", "leave it off", "burner switched off", "gas cock closed", "power isolated")
BACK = (*DOWN, "removed", "fitted", "closed", "closed", "tag fitted", "person told", "immediately dangerous")
SCENES = (
    Scene("stop-gas", "found-maximum", ("gas smell",), shown="terminal"),
    Scene("stop-inside", "found-maximum", ("gas smell", "outside", "control closed")),
    Scene("stop-bare", "found-maximum", ("stop",)),
    Scene("stop-false", "found-maximum", ("stop", "false stop")),
    Scene("stop-relight", "found-maximum", ("stop", "false stop", "out", "wait over")),
    Scene("stop-limit", "found-maximum", ("nine three four four nine zero zero maximum", "confirmed")),
    Scene("down-burner", "found-maximum", DOWN[:2], shown="phone"),
    Scene("down-probe", "found-maximum", DOWN),
    Scene("down-close", "found-maximum", BACK),
    Scene("made-safe", "found-maximum", (*BACK, "confirmed"), shown="terminal"),
    Scene("left-as-reported", "found-maximum", ("gas smell", "outside", "not reached", "nobody inside", "them",
          "leave it off", "not known", "nobody there", "none", "confirmed")),
    Scene("turn-again", "maximum-turn", ("clockwise one turn",), shown="phone"),
    Scene("turn-watched", "maximum-turn", ("clockwise one turn", "clockwise one turn")),
    Scene("turn-undo", "maximum-turn", ("clockwise one turn", "clockwise one turn", "forty")),
    Scene("turn-over", "maximum-turn", ("clockwise one turn", "clockwise one turn", "over range")),
)  # fmt: skip


def main() -> None:
    """Take the pictures into the folder that is named."""
    into, every = Path(sys.argv[1]), "--all" in sys.argv
    named = {one for one in sys.argv[2:] if not one.startswith("-")}
    into.mkdir(parents=True, exist_ok=True)
    for scene in SCENES:
        if not (every or scene.shown or scene.name in named) or (named and scene.name not in named):
            continue
        with tempfile.TemporaryDirectory() as work:
            os.environ["HANDSFREE_STATE"] = f"{work}/state"
            take(Path(work), scene, into, only=None if every or named else scene.shown)


def take(work: Path, scene: Scene, into: Path, only: str | None) -> None:
    """Lead the visit to a scene and take both pictures, or only one."""
    clock = ToldClock()
    plan, kept = load_plan(PROCEDURE, JOB_SHEET)
    recorder, opening = Recorder.begin(work / "visit", plan, kept, clock=clock)
    live, person = LiveScreen(recorder, listening=True, words=True), technician(plan)
    live.saw(opening)
    person.notice(opening, 0)

    def taken(event: inp.Input) -> None:
        decisions = recorder.take(event)
        person.notice(decisions, recorder.state.now / 1000)
        live.saw((event, *decisions))

    state = recorder.state
    while not (state.gate == scene.gate and state.question.manner.awaits == "answer" and not state.speaking):
        assert recorder.state.status == "running", f"{scene.name}: it stopped at {state.gate}"
        if state.question.manner.awaits == "answer" and not state.speaking:
            clock.pass_ms(round(1000 * person.seconds_before(state)))  # a value moves until it has settled
        step(recorder, clock, person, taken)
        state = recorder.state
    for words in scene.said:
        clock.pass_ms(1_200)
        taken(called(recorder, words))
        heard_out(recorder, clock, taken)
    if only != "phone":
        (into / f"{scene.name}-terminal.svg").write_text(drawn(Lines(live)), "utf-8")
    if only != "terminal":
        with Page("127.0.0.1:0", live, plan.catalogue) as page:
            photograph(page, live, into / f"{scene.name}-phone.png")
    recorder.release()


def called(recorder: Recorder, words: str) -> inp.Input:
    """Return words as heard in full clearness: a typed stop is a stop by key, which nothing undoes."""
    said = tuple(
        inp.HeardWord(word=word, start_ms=200 * number, end_ms=200 * number + 180, confidence=Decimal(1))
        for number, word in enumerate(words.split())
    )
    now = recorder.now()
    alternative = inp.Alternative(words=said, score=Decimal(0))
    return inp.Heard(at=now, alternatives=(alternative,), grammar="told", started=now - 1000, ended=now)


def heard_out(recorder: Recorder, clock: ToldClock, taken: Callable[[inp.Input], None]) -> None:
    """Let the tool say what it says."""
    while recorder.state.speaking and not recorder.closed:
        clock.pass_ms(1_500)
        taken(inp.SpeechEnded(at=recorder.now()))


class Lines:
    """The screen's lines as a terminal shows what it is sent."""

    def __init__(self, live: LiveScreen) -> None:
        self.screen = pyte.Screen(WIDE_CELLS, HIGH_CELLS)
        lines = screen.lines(live.picture(), WIDE_CELLS, HIGH_CELLS)
        pyte.ByteStream(self.screen).feed(Painter(colours=True).sent(lines).encode())


if __name__ == "__main__":
    main()
