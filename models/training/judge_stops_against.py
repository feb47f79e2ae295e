"""Fit how unlike the sound a stop phrase must be to be denied: `python -m models.training.judge_stops_against`.

The general recogniser is asked about "stop" alone, as in a visit: of the tuning people, and of those whom our own
networks were taught by, in silence, at 15 and at 10 dB; and of single words of tuning people in a quiet room. A
missed stop is the worse fault, so the margins lie `SPARE` beyond the farthest of a true one: of its text from the
free text, and of its phones from the likeliest. Long phrases, by tuning voices and people in silence and at 15 dB,
are denied by their phones alone, `SPARE_LONG` beyond the farthest, and only where something else leads them.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.general.judging import GeneralScorer
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.graph import UNKNOWN
from handsfree.lexicon.automaton import phrases
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.session.fusion import is_short
from handsfree.session.margins import MARGINS as NOW
from models.training import people
from models.training.judge_short_stops import STEP, write
from models.training.split import Part, of_speaker
from tests.bench.hearing.calls import AFTER_S, BEFORE_S, TASKS, Call, bare_stops
from tests.bench.hearing.playing import Stage
from tests.bench.live import material

BEGINS, BEGINS_LONG = "short stops denied", "long stop phrases denied"
"""How the evidence of this fit begins."""
RATIOS, LONG_RATIOS = (None, 15.0, 10.0), (None, 15.0)
SPARE, SPARE_LONG = Decimal("2.5"), Decimal(10)
EVERY = 8
"""Of the single words every so many-th."""
RATE = material.RATE
ROOM = material.burner_noise(10) * 20
EDGE = round(0.4 * RATE)
Words = tuple[str, ...]
STOP = phrases(["stop"]).automaton()
UNHEARD = Hypothesis((SpokenWord(UNKNOWN, 0, 300, Decimal(1)),), Decimal(0))
HEARD = (Hypothesis((SpokenWord("stop", 0, 300, Decimal(1)),), Decimal(0)),)


def main() -> None:
    """Ask, fit, print, and write when asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--speech", type=Path, default=material.SPEECH)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    plan = GeneralPlan.of(english())
    if plan is None:
        parser.error("the weights of the general recogniser are not installed")
    scorer = GeneralMember(replace(plan, threads=1)).wait()
    scorer.patient()
    orders = [words for words in dict.fromkeys(plan.orders) if not is_short(Pronunciations(), words)]
    said = [_unlike(scorer, sound) for sound in _stops(given.speech)]
    other = [_unlike(scorer, sound) for sound in _words(given.speech)]
    farthest = [max(each) for each in zip(*said, strict=True)]
    text, phones = (((one + SPARE) / STEP).to_integral_value("ROUND_CEILING") * STEP for one in farthest)
    told = (
        f"{BEGINS}: of {len(said)} stops of tuning people and of those taught by, silence to 10 dB, the free"
        f" text leads by {farthest[0]} at most, the likeliest phones by {farthest[1]}; of {len(other)} words said"
        f" alone by tuning people {sum(one <= text for one, _ in other)} come as near as {text} and"
        f" {sum(one <= phones for _, one in other)} as {phones}"
    )
    long = [_phones_ahead(scorer, sound, [words]) for sound, words in _long_stops(given.speech)]
    nearest = [_phones_ahead(scorer, sound, orders) for sound in _words(given.speech)]
    long_phones = ((max(long) + SPARE_LONG) / STEP).to_integral_value("ROUND_CEILING") * STEP
    told_long = (
        f"{BEGINS_LONG}: of {len(long)} calls of {len(orders)} phrases by tuning voices, and by people said twice,"
        f" silence and 15 dB, the likeliest phones lead by {max(long)} at most; of {len(nearest)} words said alone"
        f" by tuning people {sum(one <= long_phones for one in nearest)} come as near as {long_phones} to any"
    )
    print(told, told_long, sep="\n")
    if given.write:
        kept = [one for one in NOW.evidence if not one.startswith((BEGINS, BEGINS_LONG))]
        update = {"stop_against": -text, "stop_phones": phones, "long_stop_phones": long_phones}
        write(NOW.model_copy(update={**update, "evidence": (*kept, told, told_long)}))


def _stops(speech: Path) -> Iterator[np.ndarray]:
    stage = Stage(speech, Part.TUNE)
    for name, who, _, samples in bare_stops(speech):
        if not who.startswith("an4") or of_speaker("an4", who.split()[-1]) is Part.FINAL:
            continue
        for ratio in RATIOS:
            yield _cut(stage(Call("stop", name, who, ("stop",), "co", samples), ratio))


def _long_stops(speech: Path) -> Iterator[tuple[np.ndarray, Words]]:
    stage = Stage(speech, Part.TUNE)
    for call in TASKS["long-stops"](speech, Part.TUNE):
        for ratio in LONG_RATIOS:
            yield _cut(stage(call, ratio)), call.words


def _cut(sound: np.ndarray) -> np.ndarray:
    return sound[round(BEFORE_S * RATE) - EDGE : len(sound) - round(AFTER_S * RATE) + EDGE]


def _words(speech: Path) -> Iterator[np.ndarray]:
    for collection in ("speech-commands-bed-cat-happy", "british-words-confusion-corpus"):
        for clip in list(people.clips(speech, collection, Part.TUNE))[::EVERY]:
            wave = np.pad(material.levelled(clip.samples().astype(np.float64) * 32768), EDGE)
            yield (wave + np.resize(ROOM, len(wave))).astype(np.int16)


def _unlike(scorer: GeneralScorer, samples: np.ndarray) -> tuple[Decimal, Decimal]:
    """Return how far the free text leads "stop", and the likeliest phones its phones."""
    heard, judgement = scorer.weigh(samples, HEARD, STOP, np.zeros(0, np.int16))
    assert judgement is not None
    assert judgement.likelihood is not None
    assert judgement.phones is not None
    assert heard[0].general is not None
    likely = heard[0].phones
    return (
        judgement.likelihood - heard[0].general,
        NOW.phone_reach if likely is None else min(NOW.phone_reach, judgement.phones - likely),
    )


def _phones_ahead(scorer: GeneralScorer, samples: np.ndarray, orders: Sequence[Words]) -> Decimal:
    """Return how far the likeliest phones lead those of the likeliest of these phrases."""
    said = [
        Hypothesis(tuple(SpokenWord(word, 0, 300, Decimal(1)) for word in words), Decimal(0)) for words in orders
    ]
    grammar = phrases([" ".join(words) for words in orders]).automaton()
    heard, judgement = scorer.weigh(samples, (UNHEARD, *said), grammar, np.zeros(0, np.int16))
    assert judgement is not None
    assert judgement.phones is not None
    return judgement.phones - max(one.phones for one in heard if one.phones is not None)


if __name__ == "__main__":
    main()
