"""A person and a live visit in conversation, for a set time, and what became of each thing said."""

from __future__ import annotations

import random
import signal
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from handsfree.hearing.resampling import RATE
from handsfree.speaking.voice import Voice, VoiceSettings
from handsfree.visit.folder import load_plan
from tests.live.support.closet import Follower, HeardEntry, Stage, begin_visit, levelled, speech_end, steady
from tests.live.support.long_visit import Person, person_for, write_procedure
from tests.live.support.processes import Watch

JOB_SHEET = Path(__file__).parents[3] / "handsfree" / "demo" / "jobsheet.yaml"
VOICES = (("en-us+m3", 140), ("en-us+f3", 150), ("en-us+m7", 150))
START_S, FINISH_S, ANSWER_S, LEAVE_S = 60.0, 120.0, 4.0, 15.0
GATES = 4
ROUND_S = 45.0
"""About what a round of so many gates takes when nearly all is understood."""
ASIDE = 0.3
"""The share of asides at the gates' own questions."""
EARLY_S, LATE_S = 0.3, 0.6
"""An utterance belongs to what was said when they overlap, allowing for the card's delay."""
CARD_S = 0.2
"""The card's delay from the person's mouth to a microphone. Measured: 0.14 to 0.18 s."""


@dataclass
class Said:
    """One thing said: its words, when (steady seconds), in what noise (dB below the voice), what was heard."""

    words: str
    wave: np.ndarray = field(repr=False)
    began: float
    ended: float
    noise_db: float | None
    heard: HeardEntry | None = None

    @property
    def right(self) -> bool:
        """Whether exactly these words were heard."""
        return self.heard is not None and self.heard.words == self.words

    def over(self, talking: Sequence[tuple[float, float]]) -> bool:
        """Say whether the tool spoke meanwhile, to which alone the microphone is then closed."""
        return any(begin < self.ended + CARD_S and end > self.began for begin, end in talking)

    def is_in(self, entry: HeardEntry) -> bool:
        """Say whether an utterance of the record is this."""
        return entry.started < self.ended + LATE_S and entry.ended > self.began - EARLY_S


class Speakers:
    """A few voices, one after the other, so that no word hangs on one voice."""

    def __init__(self) -> None:
        self._voices = [Voice(VoiceSettings(name=name, words_per_minute=pace)) for name, pace in VOICES]
        self._turn = 0
        self.notice = ""

    def say(self, words: str) -> np.ndarray | None:
        """Return the words as the next voice says them, at 16 kHz, levelled; None without a speech engine."""
        voice = self._voices[self._turn % len(self._voices)]
        self._turn += 1
        sound = voice.render(words)
        if sound is None:
            self.notice = voice.notice or "there is no voice"
            return None
        wave = sound.at_rate(RATE).samples.astype(float)
        return levelled(wave[: speech_end(wave)])

    def close(self) -> None:
        """End the voices' processes."""
        for voice in self._voices:
            voice.close()


@dataclass
class LiveVisit:
    """A visit under way."""

    process: subprocess.Popen[bytes]
    follower: Follower
    person: Person
    stage: Stage
    watch: Watch
    folder: Path
    said: list[Said] = field(default_factory=list)
    noise_db: float | None = None
    dice: random.Random = field(default_factory=lambda: random.Random(3))

    def roar(self, below_db: float | None) -> None:
        """Set the burner's noise."""
        self.noise_db = below_db
        self.stage.roar(below_db)

    @property
    def running(self) -> bool:
        """Whether the command is still at work."""
        return self.process.poll() is None

    def idle(self, seconds: float, condition: str) -> None:
        """Say nothing for a while."""
        until = time.monotonic() + seconds
        while time.monotonic() < until and self.running:
            self.watch.condition = "speaking" if self.follower.look().speaking else condition
            time.sleep(0.05)

    def until_asked(self) -> None:
        """Wait while the tool speaks."""
        while self.running and (self.follower.look().speaking or self.follower.state.status == "new"):
            self.watch.condition = "speaking"
            time.sleep(0.02)

    def turn(self, speakers: Speakers, aside: float) -> None:
        """Wait for the tool to finish, pause as people do, say one thing, and wait for what it brings."""
        self.until_asked()
        self.idle(self.dice.uniform(0.2, 0.9), "pause")
        state = self.follower.look()
        if not self.running or state.status == "closed" or state.speaking:
            return
        words = self.person.says(state, aside)
        wave = speakers.say(words)
        assert wave is not None, speakers.notice
        self.watch.condition = "speech"
        began, ended = self.stage.say(wave)
        one = Said(words, wave, began, ended, self.noise_db)
        self.said.append(one)
        until = time.monotonic() + ANSWER_S
        while one.heard is None and time.monotonic() < until and self.running:
            self.follower.look()
            one.heard = next((entry for entry in reversed(self.follower.heard) if one.is_in(entry)), None)
            time.sleep(0.02)

    def finish(self, speakers: Speakers) -> int:
        """Answer to the end of the visit; interrupt one that does not come to it; return the exit code."""
        self.person.goes_on(False)
        self.roar(None)
        until = time.monotonic() + FINISH_S
        while self.running and time.monotonic() < until:
            self.turn(speakers, aside=0.0)
        if self.running:
            self.process.send_signal(signal.SIGINT)
        with suppress(subprocess.TimeoutExpired):
            self.process.wait(LEAVE_S)
        if self.running:  # a shell without job control lets its children ignore the interruption
            self.process.kill()
            self.process.wait()
        self.follower.look()
        self.settle()
        return self.process.returncode

    def settle(self) -> None:
        """Look again for what was found late."""
        for one in self.said:
            one.heard = one.heard or next((entry for entry in self.follower.heard if one.is_in(entry)), None)

    def lost(self) -> list[Said]:
        """Return what was said while the tool was silent and stands nowhere in the record."""
        return [one for one in self.said if one.heard is None and not one.over(self.follower.talking)]


@contextmanager
def live_visit(home: Path, stage: Stage) -> Iterator[LiveVisit]:
    """Begin a visit, and end it when all is over."""
    procedure = write_procedure(home, GATES)
    plan, _ = load_plan(procedure, JOB_SHEET)
    folder = home / "visit"
    process = begin_visit(procedure, JOB_SHEET, folder, home / "told.txt")
    watch = Watch(process.pid)
    try:
        visit = LiveVisit(process, Follower(plan, folder), person_for(plan), stage, watch, folder)
        until = time.monotonic() + START_S
        while visit.follower.look().status == "new":
            told = (home / "told.txt").read_text(errors="replace")
            assert process.poll() is None, told
            assert time.monotonic() < until, f"the visit does not begin: {told}"
            time.sleep(0.05)
        visit.until_asked()
        yield visit
    finally:
        watch.close()
        stage.close()
        if process.poll() is None:
            process.kill()
            process.wait()


def converse(visit: LiveVisit, speakers: Speakers, seconds: float, each: Callable[[float], None]) -> None:
    """Talk for so long; `each` is told before each turn how many seconds have passed."""
    begun = steady()
    while visit.running and (passed := steady() - begun) < seconds:
        each(passed)
        visit.person.goes_on(seconds - passed > ROUND_S)
        visit.turn(speakers, ASIDE)
