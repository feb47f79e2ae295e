"""From the end of speech to the finished utterance, in real time: `python tests/bench/live/latency.py`.

Phrases are rendered by two voices, and single digits come from the human recordings of ../shared/speech
when they are there; all are laid into calculated burner noise and fed, paced in real time, to the hearing
process with the shipped model. Printed per noise level and kind of phrase: the latency's distribution,
what was heard right, and the share of one core that the hearing process takes.
"""

from __future__ import annotations

import argparse
import functools
import os
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[3]))
sys.path.insert(0, str(Path(__file__).parents[2] / "hearing"))

from sounds import SHARED, burner_noise

from handsfree.hearing.listener import Utterance
from handsfree.hearing.sources import Recording, SoundFile
from handsfree.hearing.worker import Hearing, HearingPlan, SourceEnded, recogniser_of
from handsfree.lexicon.automaton import choice, optional, phrase, phrases, sequence
from handsfree.speaking.voice import Voice, VoiceSettings

MODEL = Path(__file__).parents[3] / "models" / "english"
DIGITS = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "zero"]
KINDS = {
    "complete": ["nine point three", "four point eight", "eight point six", "stop work", "yes", "no", "repeat"],
    "could go on": ["one hundred", "two hundred", "three hundred"],
}
GRAMMAR = choice(
    sequence(phrases(DIGITS), phrase("point"), phrases(DIGITS)),
    sequence(phrases(DIGITS), phrase("hundred"), optional(sequence(phrase("and"), phrases(DIGITS)))),
    phrases(["stop work", "gas smell", "yes", "no", "repeat"]),
).automaton()
DIGIT = phrases(DIGITS).automaton()
STOP = phrases(["stop work", "gas smell"]).automaton()


def rendered():
    voices = [Voice(VoiceSettings(name=name)) for name in ("en-us", "en-us+f3")]
    try:
        for kind, texts in KINDS.items():
            for text in texts:
                for voice in voices:
                    yield kind, text, voice.render(text).at_rate(16000).samples.astype(float)
    finally:
        for voice in voices:
            voice.close()


def human(count):
    """Single digits of the Speech Commands part, one speaker each; those cut at the clip's end are left out."""
    for word in ("one", "five", "eight", "zero"):
        taken = 0
        for path in sorted((SHARED / "commands" / word).glob("*.ogg")):
            clip = SoundFile(path).samples().astype(float)
            if taken < count and speech_end(clip) < len(clip) - 3200:
                taken += 1
                yield "human digit", word, clip


def speech_end(clip):
    power = np.mean(clip[: len(clip) // 160 * 160].reshape(-1, 160) ** 2, axis=1)
    return (np.flatnonzero(power > np.percentile(power, 95) / 630)[-1] + 1) * 160


def laid_out(clips, ratio_db):
    """One long sound; returns it and (kind, text, begin ms, end ms) of each phrase."""
    pieces, expected, at = [np.zeros(48000)], [], 48000
    for kind, text, clip in clips:
        voiced = clip[np.abs(clip) > np.abs(clip).max() / 10]
        level = clip * (2000 / np.sqrt(np.mean(voiced**2)))
        expected.append((kind, text, at / 16, (at + speech_end(clip)) / 16))
        pieces += [level, np.zeros(32000)]
        at += len(clip) + 32000
    speech = np.concatenate(pieces)
    noise = burner_noise(len(speech) / 16000)[: len(speech)] * 2000 * 10 ** (-ratio_db / 20)
    return np.clip(speech + noise, -32768, 32767).astype(np.int16), expected


def run(samples, expected, grammar):
    """Return (kind, right, latency ms) of each phrase, and the child's share of one core."""
    plan = HearingPlan(Recording(samples, paced=True), functools.partial(recogniser_of, MODEL), STOP)
    hearing = Hearing(plan)
    hearing.listen_for(grammar)
    found, busy_s, begun = [], 0.0, time.monotonic()
    while not isinstance(event := hearing.next_event(60), SourceEnded):
        if isinstance(event, Utterance):
            # The utterance's own clock says when its voice ended by the detector; ours is the true end.
            now = time.monotonic()
            zero = now - (event.ended_ms + event.latency_ms) / 1000
            found.append((event, (now - zero) * 1000))
        busy_s = processor_time(hearing.process_id) or busy_s
    hearing.close()
    rows = []
    for kind, text, begin_ms, end_ms in expected:
        for event, told_ms in found:
            if event.started_ms < end_ms and event.ended_ms > begin_ms:
                rows.append((kind, " ".join(event.alternatives[0].text) == text, told_ms - end_ms))
                break
        else:
            rows.append((kind, False, None))
    return rows, busy_s / (time.monotonic() - begun)


def processor_time(process):
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    except OSError:
        return None
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def report(title, rows):
    for kind in dict.fromkeys(kind for kind, _, _ in rows):
        times = [ms for each, _, ms in rows if each == kind and ms is not None]
        right = sum(ok for each, ok, _ in rows if each == kind)
        total = sum(each == kind for each, _, _ in rows)
        p5, p50, p95 = np.percentile(times, [5, 50, 95])
        print(
            f"  {title} {kind:12}: right {right}/{total}, "
            f"latency 5/50/95 % {p5:.0f}/{p50:.0f}/{p95:.0f} ms, longest {max(times):.0f}"
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--humans", type=int, default=6, help="human clips of each digit")
    options = parser.parse_args()
    voices = list(rendered())
    people = list(human(options.humans))
    if not people:
        print("no human recordings: ../shared/speech is not here")
    for ratio_db in (30, 20, 10, 5):
        rows, share = run(*laid_out(voices, ratio_db), GRAMMAR)
        report(f"{ratio_db:>2} dB", rows)
        if people:
            rows, share = run(*laid_out(people, ratio_db), DIGIT)
            report(f"{ratio_db:>2} dB", rows)
        print(f"  {ratio_db:>2} dB hearing process: {share:.1%} of one core")


if __name__ == "__main__":
    main()
