"""A live visit through a virtual sound card: the real command, a person who speaks to it, and what sounded.

The card has two channels, so that both can be compared sample by sample: the person and the burner on the
left, which is all that the visit's microphone hears, and the tool on the right.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

import numpy as np

from handsfree import sound_card
from handsfree.events import decisions as ev
from handsfree.events.record import from_record
from handsfree.events.state import State
from handsfree.session.apply import apply
from handsfree.session.plan import Plan
from handsfree.visit.recorder import LEDGERS_OWN, own_facts
from tests.hearing.sounds import burner_noise
from tests.speaking.conftest import Card

RATE = 16_000
BLOCK = RATE // 50
SPEECH = 2000
"""Effective value of the person's voice where it is loud, of 32,768."""


_ONE = "channels=1 channel_map=mono remix=no"


class ClosetCard(Card):
    """Two channels, and names for their ends."""

    MODULES: ClassVar = (
        "module-null-sink sink_name=closet rate=16000 channels=2 channel_map=front-left,front-right",
        f"module-remap-sink sink_name=person master=closet master_channel_map=front-left {_ONE}",
        f"module-remap-sink sink_name=tool master=closet master_channel_map=front-right {_ONE}",
        f"module-remap-source source_name=ear master=closet.monitor master_channel_map=front-left {_ONE}",
    )
    VISIT: ClassVar = {"PULSE_SINK": "tool", "PULSE_SOURCE": "ear"}
    STAGE: ClassVar = {"PULSE_SINK": "person", "PULSE_SOURCE": "closet.monitor"}


def steady() -> float:
    """Return the clock that the record's steady times are taken from, in seconds."""
    return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))


def levelled(wave: np.ndarray) -> np.ndarray:
    """Return speech at the level of all the person's speech, as floats."""
    voiced = wave[np.abs(wave) > np.abs(wave).max() / 10]
    return wave * (SPEECH / np.sqrt(np.mean(voiced.astype(float) ** 2)))


def speech_end(wave: np.ndarray) -> int:
    """Return the number of samples up to the last 10 ms that is within 28 dB of the loud ones."""
    power = np.mean(wave[: len(wave) // 160 * 160].reshape(-1, 160).astype(float) ** 2, axis=1)
    return int(np.flatnonzero(power > np.percentile(power, 95) / 630)[-1] + 1) * 160


class Stage:
    """The person's mouth and the burner's roar, played while it is open; with `record` all that sounds is kept."""

    def __init__(self, *, record: bool = False) -> None:
        card = sound_card.library()
        card._terminate()
        card._initialize()
        self.overflows = self.underflows = 0
        self.recorded: list[tuple[float, np.ndarray]] = []
        self._noise, self._level, self._at = burner_noise(60), 0.0, 0
        self._speech, self._spoken = np.zeros(0), 0
        self._said = threading.Event()
        options = {"samplerate": RATE, "blocksize": BLOCK, "dtype": "int16", "device": "pulse"}
        self._streams = [
            card.RawOutputStream(channels=1, latency=0.1, callback=self._play, **options),
            *([card.RawInputStream(channels=2, latency="high", callback=self._keep, **options)] if record else []),
        ]
        for stream in self._streams:
            stream.start()

    def roar(self, below_db: float | None) -> None:
        """Let the burner be so far (dB) below the person's voice; None is a closet without noise."""
        self._level = 0.0 if below_db is None else SPEECH * 10 ** (-below_db / 20)

    def say(self, wave: np.ndarray) -> tuple[float, float]:
        """Say it, and return the steady times (s) of its beginning and end, when it is over."""
        self._said.clear()
        self._spoken, self._speech = 0, wave
        self._said.wait(len(wave) / RATE + 5)
        ended = steady()
        return ended - len(wave) / RATE, ended

    def close(self) -> None:
        """Be silent."""
        for stream in self._streams:
            stream.close()

    def _play(self, out: Any, frames: int, _moment: Any, status: Any) -> None:
        self.underflows += bool(status.output_underflow)
        begin = self._at % (len(self._noise) - frames)
        self._at += frames
        wave = self._noise[begin : begin + frames] * self._level
        said = self._speech[self._spoken : self._spoken + frames]
        self._spoken += len(said)
        wave[: len(said)] += said
        if self._spoken >= len(self._speech):
            self._said.set()
        out[:] = np.clip(wave, -32768, 32767).astype(np.int16).tobytes()

    def _keep(self, data: Any, _frames: int, _moment: Any, status: Any) -> None:
        self.overflows += bool(status.input_overflow)
        self.recorded.append((steady(), np.frombuffer(bytes(data), np.int16).reshape(-1, 2)))


@dataclass(frozen=True)
class HeardEntry:
    """An utterance as it stands in the record; times in seconds of the machine's steady clock."""

    words: str
    started: float
    ended: float
    decided: float
    overflow: bool


@dataclass
class Follower:
    """Reads the record of a visit while it is written, and keeps its state."""

    plan: Plan
    folder: Path
    state: State = field(default_factory=State)
    heard: list[HeardEntry] = field(default_factory=list)
    talking: list[tuple[float, float]] = field(default_factory=list)
    """When the tool spoke, in seconds of the steady clock."""
    stops: int = 0
    entries: int = 0
    begun: float = float("inf")
    """The steady clock at the visit's zero, in seconds."""
    _offset: int = 0
    _batch: list[Mapping[str, Any]] = field(default_factory=list)

    def look(self) -> State:
        """Take in what has been written since; return the state after the last whole batch."""
        try:
            with (self.folder / "ledger.jsonl").open("rb") as file:
                file.seek(self._offset)
                fresh = file.read()
        except FileNotFoundError:
            return self.state
        whole = fresh[: fresh.rfind(b"\n") + 1]
        self._offset += len(whole)
        for line in whole.splitlines():
            self._batch.append(json.loads(line))
            if self._batch[-1]["to_come"] == 0:
                for entry in self._batch:
                    self._take(entry)
                self._batch.clear()
        return self.state

    def _take(self, entry: Mapping[str, Any]) -> None:
        self.entries += 1
        event = None if entry["kind"] in LEDGERS_OWN else from_record(entry["kind"], own_facts(entry["event"]))
        if event is None:
            return
        at = getattr(event, "at", None)
        if at is not None:  # an entry is written a little after its time, the first by much
            self.begun = min(self.begun, (entry["mono"] - at) / 1000)
        before, self.state = self.state, apply(self.plan, self.state, event)
        now = entry["mono"] / 1000
        if self.state.speaking and not before.speaking:
            self.talking.append((now, float("inf")))
        elif before.speaking and not self.state.speaking:
            self.talking[-1] = (self.talking[-1][0], now)
        self.stops += isinstance(event, ev.Stopped)
        if entry["kind"] == "heard":
            words = " ".join(event.alternatives[0].text) if event.alternatives else ""
            self.heard.append(
                HeardEntry(
                    words,
                    self.begun + event.started / 1000,
                    self.begun + event.ended / 1000,
                    now,
                    event.overflow,
                )
            )


def begin_visit(procedure: Path, job_sheet: Path, folder: Path, log: Path) -> subprocess.Popen[bytes]:
    """Start the real command at the tool's ends of the card; what it prints goes into the log."""
    command = [sys.executable, "-m", "handsfree.commands.app", "visit", str(procedure), "--draft"]
    command += ["--jobsheet", str(job_sheet), "--out", str(folder), "--no-third-opinion"]
    with log.open("wb") as out:
        return subprocess.Popen(
            command, env=os.environ | ClosetCard.VISIT, stdin=subprocess.DEVNULL, stdout=out, stderr=out
        )
