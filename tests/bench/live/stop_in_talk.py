"""Stop phrases within talk that does not pause, and that talk alone: `python -m tests.bench.live.stop_in_talk`.

People's sentences (LibriSpeech test-clean, speechocean762) stand one after the other without a pause, in a quiet
room. Into them fall long stop phrases by synthetic voices, and "stop" by people once and three times: in place of
the talk, or over it, so many dB louder. What acts is what `handsfree/hearing/in_talk.py` finds with the shipped
margin. `--part final` plays people and voices by whom no network was taught and on whom the margin was not fitted.
`--part tune --to FILE` keeps what `python -m models.training.judge_stops_in_talk` fits on. `--through-listener`
plays the calls through the listener of a visit instead, with the session's own rule, with and without the looking.
"""

from __future__ import annotations

import argparse
import json
import random
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from itertools import islice
from pathlib import Path

import numpy as np

from handsfree.hearing.in_talk import EVERY_MS, FROM_MS, InTalk
from handsfree.hearing.listener import TALK_MS, Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import BLOCK_MS, Recording
from handsfree.hearing.stop_calls import lead
from handsfree.procedure.languages import english
from handsfree.questions.grammar import stop_grammar
from handsfree.session.fusion import hazard_called
from handsfree.session.margins import MARGINS
from handsfree.visit.hearing import heard_from
from models.training import people
from models.training.split import Part, of_speaker
from tests.bench.hearing.calls import bare_stops, places, spoken, voices
from tests.bench.live import material
from tests.bench.live.figures import AnHour, Share
from tests.bench.live.scale import MODEL

RATE = material.RATE
OVER_DB = (None, 15, 10, 5, 0)
"""In place of the talk, or so many dB over it."""
BEFORE, AFTER = 3 * RATE, 2 * RATE
ROOM = material.burner_noise(30) * (2000 * 10 ** (-40 / 20))
STRETCH = 45 * RATE
PHRASES = 16
"""Of all long phrases so many are called, drawn by lot, by each voice."""


@dataclass(frozen=True)
class InTalkCall:
    """What somebody calls within talk."""

    words: str
    who: str
    wave: np.ndarray


def running_talk(speech: Path, part: Part) -> Iterator[tuple[str, str, np.ndarray]]:
    """Yield speaker, words and sound: three quarters of a minute of each person in turn, without a pause."""
    waiting: dict[str, list[people.PersonClip]] = defaultdict(list)
    for collection in ("librispeech-test-clean", "speechocean762"):
        for clip in people.clips(speech, collection, part):
            waiting[f"{collection} {clip.speaker}"].append(clip)
    order = sorted(waiting)
    random.Random("running talk").shuffle(order)
    while order:
        for who in list(order):
            row: list[np.ndarray] = []
            words = []
            while waiting[who] and sum(map(len, row)) < STRETCH:
                clip = waiting[who].pop()
                row.append(material.levelled(_without_edges(clip.samples() * 32768)))
                words.append(clip.words.lower())
            if not waiting[who]:
                order.remove(who)
            if sum(map(len, row)) >= 2 * (BEFORE + AFTER):
                yield who, " ".join(words), np.concatenate(row)


def in_talk_calls(speech: Path, part: Part) -> Iterator[InTalkCall]:
    """Yield the calls of a part; whom the networks were taught by is unseen by the margin, and told apart."""
    for _, who, taught, samples in bare_stops(speech):
        its = of_speaker("an4", who.split()[-1]) if who.startswith("an4") else Part.FINAL
        if its is part or (taught and part is Part.TUNE):
            wave = material.levelled(_without_edges(samples() * 32768))
            yield InTalkCall("stop", who, wave)
            pause = np.zeros(RATE // 8)
            yield InTalkCall("stop stop stop", who, np.concatenate([wave, pause, wave, pause, wave]))
    phrases = [text for hazard in english().hazards.values() for text in hazard.heard]
    random.Random("phrases").shuffle(phrases)
    for text in phrases[:PHRASES]:
        for voice in voices(part):
            yield InTalkCall(text, voice, material.levelled(_without_edges(spoken(voice, text) * 32768)))


def scenes(speech: Path, part: Part) -> Iterator[tuple[InTalkCall, int | None, np.ndarray]]:
    """Yield each call, how far over the talk it is, and the sound; the call begins at `BEFORE`."""
    talk = [wave for _, _, wave in islice(running_talk(speech, part), 12)]
    for number, call in enumerate(in_talk_calls(speech, part)):
        for place, over_db in enumerate(OVER_DB):
            wave = talk[(7 * number + 3 * place) % len(talk)]
            at = RATE * (number % 3)
            if over_db is None:
                sound = np.concatenate(
                    [wave[at : at + BEFORE], call.wave, wave[at + BEFORE : at + BEFORE + AFTER]]
                )
            else:
                sound = wave[at : at + BEFORE + len(call.wave) + AFTER] * 10 ** (-over_db / 20)
                sound[BEFORE : BEFORE + len(call.wave)] += call.wave[: len(sound) - BEFORE]
            yield call, over_db, _pcm(sound)


def found_in(recogniser: Recogniser, samples: np.ndarray) -> Iterator[tuple[int, str, Decimal]]:
    """Yield ms, words and lead of all that is suspected in talk that never pauses; a lead of 0 is the least."""
    spotter = InTalk(recogniser, stop_grammar(english()).automaton, Decimal(0))
    blocks = list(Recording(samples).blocks())
    longest = TALK_MS // BLOCK_MS
    for begin in range(0, len(blocks), longest):
        spotter.forget()
        piece = blocks[begin : begin + longest]
        for end in range(FROM_MS // BLOCK_MS, len(piece) + 1, EVERY_MS // BLOCK_MS):
            if (stop := spotter.look(piece[:end], time.monotonic)) is not None:
                at_ms = piece[end - 1].start_ms + BLOCK_MS
                yield at_ms, " ".join(stop.alternatives[0].text), lead(stop.alternatives)


def main() -> None:
    """Listen and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--speech", type=Path, default=material.SPEECH)
    parser.add_argument("--part", choices=["final", "tune", "train"], default="final")
    parser.add_argument("--minutes", type=float, default=600.0, help="end the talk then")
    parser.add_argument("--every", type=int, default=1, help="play every so many-th of the calls only")
    parser.add_argument("--only", choices=["calls", "talk"])
    parser.add_argument("--through-listener", action="store_true")
    parser.add_argument("--to", type=Path, help="keep what was found")
    given = parser.parse_args()
    part, kept = Part(given.part), list[dict[str, object]]()
    recogniser = Recogniser(MODEL)
    if given.through_listener:
        _through_listener(recogniser, given.speech, part, given.every)
        return
    if given.only != "talk":
        kept += _calls(recogniser, given.speech, part, given.every)
    if given.only != "calls":
        kept += _talk(recogniser, given.speech, part, given.minutes)
    if given.to:
        given.to.write_text("".join(json.dumps(one) + "\n" for one in kept), "utf-8")


def _calls(recogniser: Recogniser, speech: Path, part: Part, every: int) -> list[dict[str, object]]:
    heard: dict[tuple[str, str], list[bool]] = defaultdict(list)
    kept: list[dict[str, object]] = []
    late = []
    for call, over_db, samples in islice(scenes(speech, part), 0, None, every):
        name = english().hazard_of(call.words)
        begin = BEFORE * 1000 // RATE
        leads = [
            (ms, how)
            for ms, words, how in found_in(recogniser, samples)
            if english().hazard_of(words) == name and ms > begin
        ]
        best = max((how for _, how in leads), default=None)
        acts = [ms for ms, how in leads if how >= MARGINS.in_talk]
        late += [acts[0] - begin - len(call.wave) * 1000 // RATE] if acts else []
        heard[_kind(call), _over(over_db)].append(bool(acts))
        kept.append(
            {"called": call.words, "who": call.who, "over": over_db, "lead": None if best is None else str(best)}
        )
    for (kind, over), each in heard.items():
        print(f"{kind}, {over}: {Share(sum(each), len(each))}", flush=True)
    if late:
        print(f"after its end: {np.median(late):.0f} ms in the middle, {max(late)} at most")
    return kept


def _talk(recogniser: Recogniser, speech: Path, part: Part, minutes: float) -> list[dict[str, object]]:
    begun, seconds, cpu, false = time.monotonic(), 0.0, time.process_time(), Counter[str]()
    kept: list[dict[str, object]] = []
    for who, words, wave in running_talk(speech, part):
        samples = _pcm(wave)
        said = english().hazard_within(words)
        leads: list[tuple[int, str, Decimal]] = []
        for ms, text, how in found_in(recogniser, samples):
            if leads and ms - leads[-1][0] < TALK_MS // 4:  # the same sound again
                leads[-1] = max(leads[-1], (ms, text, how), key=lambda one: one[2])
            else:
                leads.append((ms, text, how))
        seconds += len(samples) / RATE
        false.update(text for _, text, how in leads if how >= MARGINS.in_talk and said is None)
        kept.append(
            {
                "talk": who, "seconds": len(samples) / RATE, "said": said,
                "found": [[text, str(how)] for _, text, how in leads],
            }
        )  # fmt: skip
        if time.monotonic() - begun > 60 * minutes:
            break
    print(f"talk alone: {AnHour(sum(false.values()), seconds / 3600)} {dict(false)}")
    print(f"  {(time.process_time() - cpu) / seconds:.3f} CPU s a second of it")
    return kept


def _through_listener(recogniser: Recogniser, speech: Path, part: Part, every: int) -> None:
    pronunciations, words = english().pronounced({}), stop_grammar(english()).automaton
    grammar = places()["co"].grammar.automaton
    heard: dict[tuple[str, str, str], list[bool]] = defaultdict(list)
    for call, over_db, samples in islice(scenes(speech, part), 0, None, every):
        for how, margin in (("as before", None), ("looked for", MARGINS.in_talk)):
            listener = Listener(recogniser, words, in_talk=margin)
            listener.listen_for(grammar)
            said = [one for one in listener.utterances(Recording(samples)) if isinstance(one, Utterance)]
            calls = [
                hazard_called(
                    english(), pronunciations, [(alternative.text, alternative.score) for alternative in
                    one.alternatives], above_noise_db=one.above_noise_db,
                )
                for one in (heard_from(each, 0, 0, grammar.identity, None) for each in said)
            ]  # fmt: skip
            names = {call[0] for call in calls if call is not None}
            heard[_kind(call), _over(over_db), how].append(english().hazard_of(call.words) in names)
    for (kind, over, how), each in sorted(heard.items()):
        print(f"{kind}, {over}, {how}: {Share(sum(each), len(each))}", flush=True)


def _kind(call: InTalkCall) -> str:
    if call.who.startswith(("an4", "british")):
        return f'people\'s "{call.words}"'
    return "voices' phrases"


def _over(over_db: int | None) -> str:
    return "in place of the talk" if over_db is None else f"{over_db} dB over it"


def _without_edges(wave: np.ndarray) -> np.ndarray:
    """Cut the silence at both ends."""
    level = np.convolve(np.abs(wave), np.ones(RATE // 40) / (RATE // 40), "same")
    loud = np.flatnonzero(level > 0.06 * level.max())
    return np.asarray(wave[max(0, loud[0] - RATE // 40) : loud[-1] + RATE // 40])


def _pcm(wave: np.ndarray) -> np.ndarray:
    return np.clip(np.rint(wave + np.resize(ROOM, len(wave))), -32768, 32767).astype(np.int16)


if __name__ == "__main__":
    main()
