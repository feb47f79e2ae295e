"""Fit when an ordinary word denies a long stop phrase: `python -m models.training.judge_ordinary_words [--write]`.

Long ones: each phrase by several synthetic voices, slow and quick, some shouted, in quiet to 0 dB; nobody was
recorded saying them. Others: what tuning people said alone (of `--share 1/3` a third) that was nearly heard as
one. The lead by which an ordinary word denies (`handsfree/hearing/ordinary_words.py`) is the least by which hardly
a true one is denied. Prints the curve: true ones kept, others left.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from pathlib import Path

import numpy as np

from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.ordinary_words import NEAR, OrdinaryWords
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.sources import Recording
from handsfree.procedure.languages import english
from handsfree.session.fusion import hazard_called
from handsfree.session.margins import MARGINS as NOW
from models.training.judge_short_stops import STEP, write
from models.training.split import Part
from tests.bench.hearing.calls import TALK_AT, Call, Stage, places, spoken, stop_words
from tests.bench.live import material
from tests.bench.live.false_stops import PAUSE, ROOM_DB, Stretch, stretches, talk
from tests.bench.live.scale import MODEL

BEGINS = "ordinary words"
"""How the evidence of this fit begins."""
VOICES = ("en-us+f2", "en-gb+Lee", "en-us+Andy", "en-gb-scotland+Denis", "en-gb+linda", "en-029+Hugo")
"""By whom no network was taught. The others of the program are left for the last test (`calls.VOICES`)."""
PACES = (110, 130, 150, 170, 190, 220)
RATIOS = (None, 25.0, 20.0, 15.0, 10.0, 5.0, 0.0)
LOST = Decimal("0.02")
"""So few of the true ones may be denied: nothing else takes a long phrase away."""
LEAST = Decimal(1)
"""A judgement: less is no lead of a word that may take a cry away."""
WORDS = (
    "speech-commands-bed-cat-happy", "british-words-confusion-corpus", "commands", "other-talk",
    "coswara-counting", "alphanumeric-accents",
)  # fmt: skip


def main() -> None:
    """Hear, fit, print, and write when asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--speech", type=Path, default=material.SPEECH)
    parser.add_argument("--calls", type=int, default=380, help="so many of the phrases, voices and paces")
    parser.add_argument("--share", default="1/1")
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    ears = _Ears()
    said = [lead for sound, at, text in _calls(given.speech, given.calls) for lead in ears.called(sound, at, text)]
    which, of = map(int, given.share.split("/"))
    other, seconds = list[Decimal](), 0.0
    for length, sound, at in list(_words(given.speech))[which - 1 :: of]:
        seconds += length
        other += ears.near(sound(), at)
    for half in range(-8, 9):
        lead = Decimal(half) / 2
        print(f"{lead}: {_under(said, lead)} of {len(said)} true, {_under(other, lead)} of {len(other)} others")
    wanted = fitted(said)
    told = (
        f"{BEGINS}: {len(said) - _under(said, wanted)} of {len(said)} long stop phrases by {len(VOICES)} tuning"
        f" voices, silence to 0 dB, are denied, and {len(other) - _under(other, wanted)} of {len(other)} others"
        f" nearly heard as one in {seconds / 3600:.2f} h of tuning people's words"
    )
    print(f"ordinary {wanted}; {told}")
    if given.write:
        kept = [one for one in NOW.evidence if not one.startswith(BEGINS)]
        write(NOW.model_copy(update={"ordinary": wanted, "evidence": (*kept, told)}))


def fitted(said: Sequence[Decimal]) -> Decimal:
    """Return the least lead of a word, in steps, that denies no more than `LOST` of the true ones."""
    least = sorted(said, reverse=True)[int(LOST * len(said))]
    return max(LEAST, (least / STEP).to_integral_value("ROUND_FLOOR") * STEP + STEP)


def _under(leads: Sequence[Decimal], margin: Decimal) -> int:
    return sum(lead < margin for lead in leads)


class _Ears:
    """Hears as a visit does, with nothing denied, and tells how far an ordinary word leads."""

    def __init__(self) -> None:
        self._recogniser = Recogniser(MODEL)
        self._pronunciations = english().pronounced({})
        self._words = OrdinaryWords(self._recogniser, stop_words(), NOW.ordinary)

    def called(self, sound: np.ndarray, at: str, text: str) -> Iterator[Decimal]:
        """Yield the lead of a word over a long phrase that was said, where it acts."""
        for one in self._heard(sound, at):
            found = self._acts(one)
            if found is not None and found[0] == english().hazard_of(text) and len(found[1]) > 1:
                yield self._words.ahead(one.samples)

    def near(self, sound: np.ndarray, at: str) -> Iterator[Decimal]:
        """Yield the lead of a word over each long phrase that nobody said and that was nearly heard."""
        for one in self._heard(sound, at):
            if any(each.score >= NEAR and _long(each.text) for each in one.alternatives):
                yield self._words.ahead(one.samples)

    def _acts(self, one: Utterance) -> tuple[str, tuple[str, ...]] | None:
        pairs = [(each.text, each.score) for each in one.alternatives]
        return hazard_called(english(), self._pronunciations, pairs, above_noise_db=one.above_noise_db)

    def _heard(self, sound: np.ndarray, at: str) -> Iterator[Utterance]:
        listener = Listener(self._recogniser)
        listener.listen_for(places()[at].grammar.automaton)
        yield from (one for one in listener.utterances(Recording(sound)) if isinstance(one, Utterance))


def _long(words: tuple[str, ...]) -> bool:
    return len(words) > 1 and stop_words().accepts(words)


def _calls(speech: Path, most: int) -> Iterator[tuple[np.ndarray, str, str]]:
    stage = Stage(speech, Part.TUNE)
    texts = [text for hazard in english().hazards.values() for text in hazard.heard]
    chance = random.Random(BEGINS)
    each = [(text, voice) for text in texts for voice in VOICES]
    for number, (text, voice) in enumerate(chance.sample(each, min(most, len(each)))):
        pace, ratio, shouted = chance.choice(PACES), chance.choice(RATIOS), chance.random() < 0.3
        wave = spoken(voice, text, pace)
        if shouted:  # more of the high sounds, and driven
            wave = np.tanh(2 * (high := np.append(wave[0], wave[1:] - 0.7 * wave[:-1])) / np.abs(high).max())
        at = TALK_AT[number % len(TALK_AT)]
        call = Call("long stop", f"{voice} {text} {pace}", voice, tuple(text.split()), at, lambda wave=wave: wave)
        yield stage(call, ratio), at, text


def _words(speech: Path) -> Iterator[tuple[float, Callable[[], np.ndarray], str]]:
    clips = talk(speech, (Part.TUNE,))
    for one in stretches(speech, (Part.TUNE,)):
        if one.collection not in WORDS:
            continue

        def sound(one: Stretch = one) -> np.ndarray:
            pieces = [PAUSE]
            for _, number in one.clips:
                samples = np.asarray(clips[one.collection][number][2](), dtype=np.float64) * 32768
                pieces += [material.levelled(samples), PAUSE]
            wave = np.concatenate(pieces)
            wave = wave + np.resize(material.burner_noise(30), len(wave)) * (2000 * 10 ** (ROOM_DB / 20))
            return np.clip(wave, -32768, 32767).astype(np.int16)

        yield one.seconds, sound, one.at


if __name__ == "__main__":
    main()
