"""Setting the demo's scene: the voice, the recogniser and the folder."""

from __future__ import annotations

import contextlib
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from handsfree.commands.general_recogniser import plan_to_ask
from handsfree.demo.boiler import InventedBoiler
from handsfree.demo.goals import IN_BAND, goal_told
from handsfree.demo.play import Demo, DemoClock, Say, Tell, scenario_files
from handsfree.events.decisions import Decision
from handsfree.events.inputs import Input
from handsfree.glance import terminal
from handsfree.glance.watching import LiveScreen
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import SoundFile
from handsfree.office.verification import verify_anchored
from handsfree.problem import ExitCode, Problem
from handsfree.speaking.voice import Voice, VoiceSettings
from handsfree.trades.combustion.stops import fuel_of
from handsfree.visit.folder import load_plan
from handsfree.visit.proven import must_be_proven
from handsfree.visit.recorder import Recorder
from handsfree.visit.replaying import replay_of
from handsfree.visit.standing import standing_of

LONG_S = 20.0
"""A wait at least so long is seen on the screen."""
SPEED = 150
"""Words a minute of the technician's voice."""


def play_demo(
    folder: Path,
    procedure: Path,
    model: Path,
    *,
    snr_db: float,
    voice: str,
    clips: Path | None,
    tell: Tell,
    glance: bool = False,
    in_band: bool = False,
    ask_general: bool = True,
    general_model: Path | None = None,
) -> dict[str, Any]:
    """Play the demo into a new folder; return its outcome as `demo --json` prints it.

    The third opinion is waited for however long it takes: the demo has a clock of its own.
    """
    plan, kept = load_plan(procedure, scenario_files()[0])
    asked = plan_to_ask(plan.catalogue, asked=ask_general, folder=general_model)
    general = None if asked is None else GeneralMember(asked, plan.pronunciations)
    if general is not None:
        general.wait().patient()
    recogniser = Recogniser(model, plan.pronunciations, general)
    must_be_proven(plan.procedure)
    clock = _SeenClock() if glance else DemoClock()
    with _voice(voice, clips) as say, tempfile.TemporaryDirectory(prefix="handsfree-demo-") as throw_away:
        recorder, opening = _Followed.begin(
            folder,
            plan,
            kept,
            model_sha256=recogniser.folder.identity,
            clock=clock,
            throw_away=Path(throw_away),
            standing=standing_of(plan.procedure, None),
        )
        with contextlib.closing(_Released(recorder)), _screen(recorder, opening, wanted=glance):
            boiler = InventedBoiler(fuel_of(plan.sheets), co2=dict(IN_BAND)) if in_band else None
            outcome = Demo(
                recorder, clock, recogniser=recogniser, say=say, tell=tell, snr_db=snr_db, boiler=boiler
            ).play(opening)
    report = verify_anchored(folder, None, replay=replay_of(folder))
    if not report.ok:
        raise Problem(
            f"the demo's record does not verify: {report.sentence}", where=str(folder), code=ExitCode.FAILED
        )
    return {
        "folder": str(folder),
        "ledger": str(folder / "ledger.jsonl"),
        "outcome": outcome.outcome,
        "verified": report.ok,
        "demo": report.demo,
        "entries": outcome.head.count,
        "checksum": outcome.head.checksum,
        "tally": {
            "said": outcome.tally.said,
            "right": outcome.tally.right,
            "wrong": outcome.tally.wrong,
            "not_understood": outcome.tally.not_understood,
            "typed": outcome.tally.typed,
            "false_stops": outcome.tally.false_stops,
            "turns": outcome.tally.turns,
            "heard_as": [list(pair) for pair in outcome.tally.heard_as],
        },
        "goal": goal_told(plan.procedure.name, outcome.tally.said + outcome.tally.typed, outcome.tally.turns),
        "seconds": f"{outcome.seconds:.1f}",
        "visit_minutes": f"{clock.ms / 60_000:.0f}",
    }


class _SeenClock(DemoClock):
    """Lets a wait run out before the eyes, in half a second."""

    def passes(self, seconds: float) -> None:
        """Let time pass, a long one in steps."""
        steps = 10 if seconds >= LONG_S else 1
        for _ in range(steps):
            super().passes(seconds / steps)
            time.sleep(0.05 if steps > 1 else 0.0)


class _Followed(Recorder):
    """A recorder that tells whoever watches what it recorded."""

    live: LiveScreen | None = None

    def take(self, event: Input) -> tuple[Decision, ...]:
        """Decide and record, then show it."""
        decisions = super().take(event)
        if self.live is not None:
            self.live.saw((event, *decisions))
            self.live.line()  # a sign of life; keys lead nowhere here
        return decisions

    def keep_sound(self, samples: Any, rate: int) -> str:
        """Keep an utterance's sound and show how loud it was."""
        if self.live is not None:
            self.live.utterance(samples)
        return super().keep_sound(samples, rate)


@contextlib.contextmanager
def _screen(recorder: Recorder, opening: Sequence[Decision], *, wanted: bool) -> Iterator[None]:
    """Show the visit on the big-type screen while it is played."""
    if not wanted:
        yield
        return
    if not terminal.usable():
        raise Problem("there is no terminal to show the screen on", remedy="leave --glance out")
    assert isinstance(recorder, _Followed)
    recorder.live = LiveScreen(recorder, listening=True, words=False)
    recorder.live.saw(opening)
    with terminal.Terminal() as screen:
        screen.show(recorder.live)
        yield


class _Released:
    """Gives the ledger back however the demo ends."""

    def __init__(self, recorder: Recorder) -> None:
        self.close: Callable[[], None] = recorder.release


@contextlib.contextmanager
def _voice(name: str, clips: Path | None) -> Iterator[Say]:
    """Yield what speaks the technician's words at 16 kHz: a clip named after them, else the voice."""
    voice = Voice(VoiceSettings(name=name, words_per_minute=SPEED))

    def say(words: str) -> Any:
        clip = None if clips is None else clips / f"{words.replace(' ', '-')}.wav"
        if clip is not None and clip.is_file():
            return SoundFile(clip).samples()
        sound = voice.render(words)
        return None if sound is None else sound.at_rate(16_000).samples

    try:
        yield say
    finally:
        voice.close()
