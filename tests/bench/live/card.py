"""A real visit through a virtual sound card: latency, processor, memory, lost sound, by noise level.

The installed command, its microphone and loudspeaker at one end of a PulseAudio card of two channels, a person
of three rendered voices at the other. In the recording of the card the end of each phrase (left channel) and
the first sample of the tool's reply (right channel) are compared sample by sample. The decision's time is when
its entries were on disk; the end of the phrase is then counted from its arrival at a microphone of this card.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pytest

from handsfree.speaking.player import SoundCardPlayer
from handsfree.speaking.sound import Sound
from handsfree.speaking.worker import Loudspeaker
from tests.bench.live.figures import Amount, AnHour, Figure, Note, Share, Spread
from tests.bench.live.scale import Scale
from tests.live.support.closet import RATE, ClosetCard, Stage, steady
from tests.live.support.conversation import LiveVisit, Said, Speakers, converse, live_visit
from tests.live.support.processes import Sample, growth_per_hour

MINUTES_EACH = 2.5
ROAR_DB = (None, 20.0, 10.0, 5.0)
WARM_S, IDLE_S = 15.0, 20.0
"""First libraries are still being loaded; then nobody speaks in silence and in noise."""
CUTS = 20
LOUD = 50
"""A sample above this is sound: the tool's channel holds zeros while it is silent."""
REPLY_WITHIN_S = 2.5


def figures(scale: Scale) -> Iterator[Figure]:
    """Lead a visit through every noise level, then cut prompts off."""
    each_s = 60 * MINUTES_EACH * (0.2 if scale.quick else 1)
    with tempfile.TemporaryDirectory() as home, pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", f"{home}/state")
        for name, end in ClosetCard.STAGE.items():
            patch.setenv(name, end)
        card = ClosetCard(Path(home), patch)
        card.start()
        speakers = Speakers()
        try:
            yield Figure("load of this machine at the start (1 min)", Amount(os.getloadavg()[0], "processes"))
            stage = Stage(record=True)
            with live_visit(Path(home), stage) as visit:
                visit.idle(WARM_S, "start")
                for roar_db in (None, 10.0):
                    visit.roar(roar_db)
                    visit.idle(IDLE_S, "silence" if roar_db is None else "noise")
                converse(
                    visit,
                    speakers,
                    each_s * len(ROAR_DB),
                    lambda passed: visit.roar(ROAR_DB[min(len(ROAR_DB) - 1, int(passed // each_s))]),
                )
                visit.finish(speakers)
            yield from _latency(visit, stage)
            yield from _whole(visit, stage)
            yield from _processor(visit)
            yield from _memory(visit)
            yield Figure("cut to silence, as heard on the card", Spread.of(_cuts(scale.many(CUTS)), "ms"))
        finally:
            speakers.close()
            card.stop()


def _title(roar_db: float | None) -> str:
    return "no noise" if roar_db is None else f"{roar_db:.0f} dB"


def _latency(visit: LiveVisit, stage: Stage) -> Iterator[Figure]:
    arrived = np.array([at for at, _ in stage.recorded])
    heard = np.concatenate([samples for _, samples in stage.recorded]).astype(float)
    decided, replied = defaultdict(list), defaultdict(list)
    for one in visit.said:
        if one.heard is None or one.over(visit.follower.talking):
            continue
        end = _end_in(heard[:, 0], arrived, one)
        block = len(heard) // len(arrived)
        decided[one.noise_db].append(1000 * (one.heard.decided - arrived[min(len(arrived) - 1, end // block)]))
        sounding = np.flatnonzero(np.abs(heard[end : end + round(REPLY_WITHIN_S * RATE), 1]) > LOUD)
        if len(sounding):
            replied[one.noise_db].append(1000 * sounding[0] / RATE)
    for roar_db in ROAR_DB:
        yield Figure(f"{_title(roar_db)}: end of speech to decision on disk", Spread.of(decided[roar_db], "ms"))
        yield Figure(
            f"{_title(roar_db)}: end of speech to reply's first sample", Spread.of(replied[roar_db], "ms")
        )


def _end_in(left: np.ndarray, arrived: np.ndarray, one: Said) -> int:
    """Return the sample at which a phrase ends in the recording, by its greatest correlation there."""
    block = len(left) // len(arrived)
    begin = max(0, (np.searchsorted(arrived, one.began) - 50) * block)
    part = left[begin : begin + len(one.wave) + 3 * RATE]
    size = 2 ** int(np.ceil(np.log2(len(part) + len(one.wave))))
    agreement = np.fft.irfft(np.fft.rfft(part, size) * np.conj(np.fft.rfft(one.wave, size)), size)
    return begin + int(np.argmax(agreement[: len(part)])) + len(one.wave)


def _whole(visit: LiveVisit, stage: Stage) -> Iterator[Figure]:
    said, heard = visit.said, visit.follower.heard
    alone = [one for one in said if not one.over(visit.follower.talking)]
    for roar_db in ROAR_DB:
        ones = [one for one in alone if one.noise_db == roar_db]
        yield Figure(f"{_title(roar_db)}: word for word right", Share(sum(one.right for one in ones), len(ones)))
    yield Figure("said while the tool was silent, not in the record", Share(len(visit.lost()), len(alone)))
    yield Figure("said at the same moment as the tool", Share(len(said) - len(alone), len(said)))
    yield Figure(
        "utterances marked for lost sound (overflow)", Share(sum(one.overflow for one in heard), len(heard))
    )
    gaps = f"{stage.overflows}, {stage.underflows}"
    yield Figure("gaps in this bench's own recording, in its own playing", Note(gaps))
    hours = (said[-1].ended - said[0].began) / 3600
    yield Figure("stops that nobody said", AnHour(visit.follower.stops, hours))
    yield Figure("exit of the visit", Note(f"{visit.process.returncode} (0 finished, 3 left open)"))


def _processor(visit: LiveVisit) -> Iterator[Figure]:
    shares: dict[tuple[str, str], list[Sample]] = defaultdict(list)
    for role, samples in visit.watch.by_role().items():
        for sample in samples:
            shares[role, sample.condition].append(sample)
    titles = {
        "silence": "silence",
        "noise": "noise",
        "pause": "pauses in talk",
        "speech": "the person speaks",
        "speaking": "the tool speaks",
    }
    for condition, title in titles.items():
        parts = {role: _share(samples) for (role, at), samples in shares.items() if at == condition}
        listed = ", ".join(f"{role} {100 * share:.1f}" for role, share in parts.items())
        yield Figure(f"% of one core, {title}: {listed}; all", Amount(100 * sum(parts.values()), "%"))


def _share(samples: Sequence[Sample]) -> float:
    return sum(one.processor_s for one in samples) / max(1e-9, sum(one.lasted_s for one in samples))


def _memory(visit: LiveVisit) -> Iterator[Figure]:
    for role, samples in visit.watch.by_role().items():
        warm = [one for one in samples if one.at_s > samples[-1].at_s / 3]
        slope = growth_per_hour([one.at_s for one in warm], [one.resident_mb for one in warm])
        yield Figure(
            f"memory of {role}: at start, at end, peak",
            Note(f"{samples[0].resident_mb:.0f}, {samples[-1].resident_mb:.0f}, {samples[-1].peak_mb:.0f} MB"),
        )
        yield Figure(f"memory of {role}: growth over the last two thirds", Amount(slope, "MB an hour"))


def _cuts(count: int) -> list[float]:
    """Return the times from the order to the last sound on the card, in ms."""
    stage = Stage(record=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PULSE_SINK", ClosetCard.VISIT["PULSE_SINK"])
        tool = Loudspeaker(SoundCardPlayer)
    wave = (16000 * np.sin(2 * np.pi * 500 * np.arange(5 * RATE) / RATE)).astype(np.int16)
    tool.play(Sound(wave[: RATE // 5], RATE))  # the first sound waits for what is loaded with it
    tool.wait(10)
    found = []
    for _ in range(count):
        tool.play(Sound(wave, RATE))
        time.sleep(0.7)
        cut = steady()
        tool.cut()
        tool.wait(2)
        time.sleep(0.4)
        loud = [at for at, samples in stage.recorded if np.abs(samples[:, 1].astype(int)).max() > LOUD]
        found.append(1000 * (loud[-1] - cut))
    tool.close()
    stage.close()
    return found
