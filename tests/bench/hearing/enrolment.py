"""What a minute of enrolment gives: `python -m tests.bench.hearing.enrolment --part final [--third-opinion]`.

Prints for each speaker and noise what a visit does at the question for CO without an enrolment and with it: best
guess right, taken at once rightly and wrongly, asked. People: one telephone speaker of each part, who recorded the
ten digits alone, fifty times each: three calls of each enrol, others are heard, alone and joined to two or three
figures. They never said "thirty", "oh" or "eleven", so these are not enrolled, and an enrolment says nothing of
them: "among figures" leaves them out of what was heard, on both sides. Voices: synthetic ones that no network of
ours was taught by read all forty texts; numbers to 99 are then heard at another speed. With `--third-opinion` that
is asked too, on both sides.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from handsfree.events.inputs import Heard
from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.enrolment.reading import texts, words_of
from handsfree.hearing.enrolment.voice import WEIGHT, EnrolledVoice, EnrolledWord
from handsfree.hearing.general.judging import GeneralScorer
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.listener import Listener, Utterance
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.resampling import Samples
from handsfree.hearing.sources import Recording
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.procedure.languages import english
from handsfree.session.general_judgement import sound_scores
from handsfree.visit.hearing import heard_from
from models.training import recordings
from models.training.split import Part
from tests.bench.hearing import calls, playing
from tests.bench.hearing.deciding import ASKED, MISSED, RIGHT, WRONG, outcome
from tests.bench.hearing.material import DIGITS, ROOT, SPEECH

RATIOS: tuple[float | None, ...] = (None, 10.0, 0.0)
ENROLLED_CLIPS = 3
READ_AT, HEARD_AT = 150, 180
"""Words a minute of synthetic voices."""
FIGURES = frozenset([*DIGITS, UNKNOWN])
OF_PEOPLE: dict[str, frozenset[str] | None] = {"": None, ", among figures": FIGURES}
KINDS = {"one figure": OF_PEOPLE, "two or three figures": OF_PEOPLE, "numbers to 99": {"": None}}
NUMBERS = (
    "fourteen", "forty", "seventy two", "twelve", "thirty", "thirteen", "eighty", "eighteen", "sixty five", "nine",
    "ninety", "nineteen", "five", "fifty", "fifteen", "two", "seventeen", "one oh five", "eight", "twenty eight",
)  # fmt: skip


@dataclass(frozen=True)
class Speaker:
    """Who reads and who calls: texts with their sound, at 16 kHz."""

    name: str
    read: Sequence[tuple[str, Callable[[], np.ndarray]]]
    called: Sequence[tuple[str, str, Callable[[], np.ndarray]]]
    """Task, words, sound."""


class Ears(Recogniser):
    """Hears as always, and keeps what an enrolled voice would weigh: sound, alternatives, the noise before."""

    weighable: tuple[Samples, tuple[Hypothesis, ...], Samples]

    def weigh(
        self,
        samples: Samples,
        heard: tuple[Hypothesis, ...],
        grammar: WordAutomaton,
        noise: Samples,
        *_: object,
    ) -> tuple[tuple[Hypothesis, ...], None]:
        """Keep it."""
        self.weighable = samples, heard, noise
        return heard, None


def people(part: Part, count: int) -> Iterator[Speaker]:
    """Yield the speakers of single digits of a part."""
    said: dict[str, dict[str, list[np.ndarray]]] = defaultdict(lambda: defaultdict(list))
    for one in recordings.digits(SPEECH, part):
        said[one.speaker][one.words[0]].append(np.asarray(one.samples))
    for who, by in said.items():
        chance = random.Random(7)
        read = [(word, _as_is(by[word][2 * n])) for n in range(ENROLLED_CLIPS) for word in DIGITS]
        rest = {word: by[word][1::2] for word in DIGITS}
        called = [("one figure", word, _as_is(chance.choice(rest[word]))) for word in DIGITS * (count // 10)]
        for number in range(count):
            words = [chance.choice(DIGITS[1:]), *(chance.choice(DIGITS) for _ in range(1 + number % 2))]
            clips, gaps = (
                [chance.choice(rest[word]) for word in words],
                [chance.uniform(0.04, 0.12) for _ in words],
            )
            sound: Callable[[], np.ndarray] = lambda clips=clips, gaps=gaps: calls.joined(clips, gaps)  # noqa: E731
            called.append(("two or three figures", " ".join(words), sound))
        yield Speaker(who, read, called)


def voices(part: Part) -> Iterator[Speaker]:
    """Yield the synthetic voices of a part."""
    for voice in calls.voices(part):
        read = [(text, _spoken(voice, text, READ_AT)) for text in texts().read]
        yield Speaker(voice, read, [("numbers to 99", text, _spoken(voice, text, HEARD_AT)) for text in NUMBERS])


def _as_is(samples: np.ndarray) -> Callable[[], np.ndarray]:
    return lambda: samples


def _spoken(voice: str, text: str, speed: int) -> Callable[[], np.ndarray]:
    return lambda: calls.spoken(voice, text, speed)


def enrolled(ears: Ears, speaker: Speaker, stage: playing.Stage) -> list[EnrolledWord]:
    """Return the words of a speaker who reads; what is not heard right is left out, as at the second asking."""
    said: list[EnrolledWord] = []
    grammar = texts().grammar()
    for number, (text, sound) in enumerate(speaker.read):
        call = calls.Call("read", f"{speaker.name} reads {number}", speaker.name, (), "co", sound)
        for heard in _heard(ears, grammar, stage(call, None)):
            right = [one for one in heard.alternatives if " ".join(one.text) == text]
            said += [word for one in right[:1] for word in words_of(one, heard.samples)]
    return said


def _heard(ears: Ears, grammar: WordAutomaton, sound: np.ndarray) -> Iterator[Utterance]:
    listener = Listener(ears)
    listener.listen_for(grammar)
    return (one for one in listener.utterances(Recording(sound)) if isinstance(one, Utterance))


def told(counts: Counter[str]) -> str:
    """Return the counts as a cell."""
    return f"{counts['best']:3d} {counts[RIGHT]:3d} {counts[WRONG]:2d} {counts[ASKED] + counts[MISSED]:3d}"


def main() -> None:
    """Play, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--part", choices=["tune", "final"], default="final")
    parser.add_argument("--count", type=int, default=50, help="so many calls of each kind by people")
    parser.add_argument("--third-opinion", action="store_true")
    parser.add_argument("--only-people", action="store_true")
    parser.add_argument("--ratios", nargs="*", type=float, help="levels of noise in dB; clean, 10 and 0 without")
    parser.add_argument("--weights", nargs="*", type=Decimal, default=[WEIGHT])
    given = parser.parse_args()
    part, place = Part(given.part), calls.places()["co"]
    ears, stage = Ears(ROOT / "models" / "english"), playing.Stage(SPEECH, part)
    grammar = place.grammar.automaton
    plan = GeneralPlan.of(english()) if given.third_opinion else None
    assert plan is not None or not given.third_opinion, "the weights of the general recogniser are not installed"
    third = None if plan is None else GeneralMember(replace(plan, threads=1)).wait()
    if third is not None:
        third.patient()
    ratios = RATIOS if given.ratios is None else given.ratios
    print("best guess right, at once right, at once wrong, asked or missed: without | with an enrolment")
    for speaker in (*people(part, given.count), *([] if given.only_people else voices(part))):
        said = enrolled(ears, speaker, stage)
        alike, of = EnrolledVoice(said).likest_to_themselves()
        print(f"{speaker.name}: {len(said)} words enrolled, {alike} of {of} said twice likest to themselves")
        ways = [None, *(EnrolledVoice(said, weight=weight) for weight in given.weights)]
        found: dict[tuple[str, float | None], list[Counter[str]]] = {}
        for number, (task, words, sound) in enumerate(speaker.called):
            for ratio in ratios:
                call = calls.Call(task, f"{speaker.name} {number}", speaker.name, (), "co", sound)
                utterances = [(one, ears.weighable) for one in _heard(ears, grammar, stage(call, ratio))]
                for among, listed in KINDS[task].items():
                    cells = found.setdefault((f"{task}{among}", ratio), [Counter() for _ in ways])
                    for way, cell in zip(ways, cells, strict=True):
                        heard = [_weighed(one, way, listed, grammar, third, *what) for one, what in utterances]
                        shape = {"place": "co", "words": words.split(), "heard": heard}
                        cell.update(
                            [
                                outcome(shape, "ours" if third is None else "both"),
                                *["best"] * _guessed(heard, words),
                                "of",
                            ]
                        )
        for (task, ratio), cells in found.items():
            level = "clean" if ratio is None else f"{ratio:.0f} dB"
            print(f"  {task:37s}{level:6s}of {cells[0]['of']:3d}: {' | '.join(map(told, cells))}", flush=True)


def _weighed(
    one: Utterance,
    voice: EnrolledVoice | None,
    listed: frozenset[str] | None,
    grammar: WordAutomaton,
    third: GeneralScorer | None,
    samples: Samples,
    heard: tuple[Hypothesis, ...],
    noise: Samples,
) -> dict[str, Any]:
    """Return what is recorded of an utterance, as far as its words are listed."""
    kept = _listed(heard, listed)
    alternatives = kept if voice is None else voice.weighed(samples, kept, noise)
    judgement = None
    if third is not None:
        alternatives, judgement = third.weigh(samples, alternatives, grammar, noise)
    changed = replace(one, alternatives=_listed(alternatives, listed), judgement=judgement)
    return heard_from(changed, 0, 0, grammar.identity, None).model_dump(mode="json")


def _listed(heard: tuple[Hypothesis, ...], listed: frozenset[str] | None) -> tuple[Hypothesis, ...]:
    return tuple(each for each in heard if listed is None or listed.issuperset(each.text))


def _guessed(heard: Sequence[dict[str, Any]], words: str) -> bool:
    for each in heard[:1]:
        known = Heard.model_validate(each)
        ranked = sorted(zip(sound_scores(known), known.alternatives, strict=True), key=lambda one: -one[0])
        return next((one.text for _, one in ranked if UNKNOWN not in one.text), ()) == tuple(words.split())
    return False


if __name__ == "__main__":
    main()
