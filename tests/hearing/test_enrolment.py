"""A voice enrolled: what it weighs and what it never touches, how it is read, kept, and forgotten."""

from __future__ import annotations

import random
from dataclasses import replace
from decimal import Decimal
from functools import cache

import numpy as np
import pytest

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.enrolment.keeping import KeptVoice, Voices
from handsfree.hearing.enrolment.likeness import BANDS, as_heard, energies, features, loudness, sums
from handsfree.hearing.enrolment.reading import NEARLY, VoiceReading, texts
from handsfree.hearing.enrolment.voice import MOST_MOVED, EnrolledVoice, EnrolledWord
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.session.fusion import LIMIT_MARGIN, SECOND_MARGIN, hazard_called
from handsfree.session.margins import MARGINS

RATE = 16_000
NOTHING = np.zeros(0, np.int16)
PITCHES = {"one": (300, 900), "two": (900, 300), "three": (500, 2500), "four": (2500, 500)}


def sung(word: str, seconds: float = 0.4, loud: float = 6000.0, faint: float = 3.0, seed: int = 0) -> np.ndarray:
    """A word that glides from one pitch to another, in faint noise: int16."""
    begin, end = PITCHES[word]
    time = np.arange(round(seconds * RATE)) / RATE
    phase = 2 * np.pi * (begin * time + (end - begin) * time**2 / (2 * seconds))
    noise = np.random.default_rng(seed).standard_normal(len(time)) * faint
    return (np.sin(phase) * loud + noise).astype(np.int16)


def hypothesis(*words: str, score: str = "0", end_ms: int = 400) -> Hypothesis:
    edges = [end_ms * place // len(words) for place in range(len(words) + 1)]
    placed = (SpokenWord(*each, Decimal(1)) for each in zip(words, edges, edges[1:], strict=False))
    return Hypothesis(tuple(placed), Decimal(score))


@pytest.fixture(scope="module")
def voice() -> EnrolledVoice:
    return EnrolledVoice(EnrolledWord(word, energies(sung(word, 0.35, 2000, seed=1))) for word in PITCHES)


def test_a_word_is_likest_to_itself_said_longer_louder_and_in_noise() -> None:
    """Time is warped and the noise put in."""
    for word in PITCHES:
        noise = np.random.default_rng(5).standard_normal(RATE) * 500
        around = energies(noise.astype(np.int16))
        sound = energies((sung(word, 0.6, 3000) + noise[: round(0.6 * RATE)]).astype(np.int16))
        mean = np.asarray(around.mean(axis=0), np.float64)
        level = loudness(sound) - float(mean.sum())
        ways = {one: [features(as_heard(energies(sung(one)), level, mean))] for one in PITCHES}
        far = sums(features(sound), features(around), ways, [(one,) for one in PITCHES])
        assert list(PITCHES)[int(far.argmin())] == word


def plain_sum(sound: np.ndarray, noise: np.ndarray, ways: dict, sentence: tuple[str, ...]) -> float:
    """The same by trying every path, written down as the definition says it: no arrays, nothing side by side."""

    @cache
    def least(frame: int, place: int, way: int, state: int) -> float:
        """The least sum of the frames after one that lies in a state of a word, or in the silence before it."""
        if frame == len(sound):
            done = place == len(sentence) or (
                place == len(sentence) - 1 and state == len(ways[sentence[place]][way]) - 1
            )
            return 0.0 if done else float("inf")
        nexts: list[tuple[int, int, int]] = []
        if state < 0:
            nexts.append((place, 0, -1))
        else:
            length = len(ways[sentence[place]][way])
            nexts += [(place, way, one) for one in (state, state + 1, state + 2) if one < length]
            if state == length - 1:
                nexts.append((place + 1, 0, -1))
        entered = place if state < 0 else place + 1 if state == len(ways[sentence[place]][way]) - 1 else None
        if entered is not None and entered < len(sentence):
            nexts += [(entered, one, 0) for one in range(len(ways[sentence[entered]]))]
        return min((cost(frame, *one) + least(frame + 1, *one) for one in nexts), default=float("inf"))

    def cost(frame: int, place: int, way: int, state: int) -> float:
        if state < 0:
            return min(float(np.linalg.norm(sound[frame] - one)) for one in noise)
        return float(np.linalg.norm(sound[frame] - ways[sentence[place]][way][state]))

    return least(0, 0, 0, -1)


def test_the_least_sum_is_that_of_all_paths() -> None:
    chance = np.random.default_rng(2)
    ways = {
        "one": [chance.normal(size=(3, 2)), chance.normal(size=(2, 2))],
        "two": [chance.normal(size=(4, 2))],
    }
    sound, noise = chance.normal(size=(9, 2)), chance.normal(size=(2, 2))
    sentences = [("one",), ("two", "one"), ("one", "two"), ("one", "one", "two")]
    found = sums(sound, noise, ways, sentences)
    assert found == pytest.approx([plain_sum(sound, noise, ways, sentence) for sentence in sentences])


def test_the_enrolled_word_overtakes_one_that_led_a_little(voice: EnrolledVoice) -> None:
    heard = (hypothesis("two"), hypothesis("one", score="-0.5"), hypothesis("[unk]", score="-0.7"))
    found = voice.weighed(sung("one"), heard, NOTHING)
    assert (found[0].text, found[0].score) == (("one",), 0)
    assert found[0].words[0].confidence > next(one for one in found if one.text == ("two",)).words[0].confidence


def test_the_best_keeps_its_score_and_whatever_is_not_enrolled_keeps_its_own(voice: EnrolledVoice) -> None:
    """So stop phrases, unknown speech and words that nobody read stand to the numbers as they stood."""
    other = (hypothesis("[unk]", score="0"), hypothesis("stop", score="-1"), hypothesis("five", score="-2"))
    heard = (*other[:1], hypothesis("two", score="-0.3"), *other[1:], hypothesis("one", score="-2.5"))
    found = voice.weighed(sung("one"), heard, NOTHING)
    assert max(one.score for one in found if one.text[0] in PITCHES) == Decimal("-0.3")
    assert [one for one in found if one in other] == list(other)


def test_an_enrolment_alone_settles_nothing() -> None:
    """It moves less than every lead that counts: what our own ears put second is asked about."""
    assert min(MARGINS.ours_value, MARGINS.value, SECOND_MARGIN, LIMIT_MARGIN) > MOST_MOVED
    certain = EnrolledVoice([EnrolledWord(word, energies(sung(word))) for word in PITCHES], weight=Decimal(100))
    one, two = certain.weighed(sung("one"), (hypothesis("two"), hypothesis("one", score="-0.001")), NOTHING)
    assert (one.text, two.text, one.score - two.score) == (("one",), ("two",), MOST_MOVED - Decimal("0.001"))


def test_a_single_alternative_is_not_touched(voice: EnrolledVoice) -> None:
    heard = (hypothesis("one"), hypothesis("[unk]", score="-1"))
    assert voice.weighed(sung("two"), heard, NOTHING) == heard


def test_no_stop_phrase_acts_otherwise_with_a_hostile_enrolment() -> None:
    """Somebody read every word wrongly, stop words among them; each phrase leads, ties, and trails by chance."""
    catalogue, chance = english(), random.Random(3)
    phrases = [text for hazard in catalogue.hazards.values() for text in (*hazard.heard, *hazard.alone)]
    stop_words = {word for text in phrases for word in text.split()}
    wrong = [
        EnrolledWord(word, energies(sung(chance.choice(list(PITCHES)))))
        for word in (*PITCHES, *sorted(stop_words))
    ]
    hostile = EnrolledVoice(wrong, stop_words)
    assert {one.word for one in hostile.said} == set(PITCHES) - stop_words
    sound = sung("one")
    for text in phrases:
        scores = [f"{-chance.uniform(0, 5):.3f}" for _ in range(5)]
        heard = [
            hypothesis(*words, score=score)
            for words, score in zip(
                [text.split(), ["one"], ["two", "three"], ["four"], ["[unk]"]], scores, strict=True
            )
        ]
        heard = sorted(heard, key=lambda one: -one.score)
        found = hostile.weighed(sound, heard, NOTHING)
        for above in (None, Decimal(5), Decimal(40)):
            before, after = (
                hazard_called(catalogue, Pronunciations(), [(one.text, one.score) for one in each], (), above)
                for each in (heard, found)
            )
            assert before == after


def test_each_text_is_asked_for_once_and_once_more_where_it_was_not_heard() -> None:
    reading, first, second = VoiceReading(texts()), *texts().read[:2]
    assert reading.heard([hypothesis("[unk]")], NOTHING) == "again"
    assert reading.asked == first
    near = hypothesis(*first.split(), score=str(NEARLY))
    assert reading.heard([hypothesis("eleven"), near], sung("one")) == "taken"
    assert reading.asked == second
    assert reading.heard([hypothesis("[unk]"), hypothesis(*second.split(), score="-0.1")], NOTHING) == "again"
    assert reading.heard([hypothesis("[unk]")], NOTHING) == "passed over"
    assert reading.asked == texts().read[2]


@pytest.mark.parametrize("words", texts().leave)
def test_whoever_says_so_leaves_it(words: str) -> None:
    reading = VoiceReading(texts())
    assert reading.heard([hypothesis(*words.split())], NOTHING) == "left"
    assert reading.asked is None


def test_thirty_numbers_and_ten_calls_hold_every_digit_three_times() -> None:
    """Each in a grammar of ours, and no word of it stands in a stop phrase but those that leave it."""
    words = [word for text in texts().read for word in text.split()]
    assert len(texts().read) == 40
    assert {word for word in english().numbers.said.digits if words.count(word) < 3} == set()
    assert not Pronunciations().unknown({*words, *" ".join(texts().leave).split()})


def test_too_little_heard_or_words_unlike_themselves_are_not_kept() -> None:
    reading = VoiceReading(texts())
    assert reading.voice() == ((), "Only 0 of 40 were heard. Nothing is kept.")
    chance = random.Random(1)
    for text in texts().read:
        sound = sung(chance.choice(list(PITCHES)), seed=chance.randrange(99))
        reading.heard([hypothesis(*text.split())], sound)
    said, why = reading.voice()
    assert said == ()
    assert "sounded like themselves" in why


def enrolment(person: str = "R. Vale", microphone: str = "boom headset", model: str = "abc") -> KeptVoice:
    said = tuple(EnrolledWord(word, energies(sung(word))) for word in PITCHES)
    return KeptVoice(person, microphone, model, "2026-11-29", said)


def test_what_is_kept_is_read_back_by_its_name_microphone_and_model(tmp_path) -> None:
    voices = Voices(tmp_path / "state")
    assert voices.kept() == ()
    voices.keep(enrolment())
    voices.keep(enrolment("B. Tarn"))
    (own,) = [one for one in voices.kept() if one.of(" r. vale")]
    for kept, said in zip(own.said, enrolment().said, strict=True):
        assert kept.word == said.word
        assert kept.energies.shape[1] == BANDS
        assert np.abs(10 * np.log10((kept.energies + 1) / (said.energies + 1))).max() < 0.3
    assert voices.fitting("R. Vale", "boom headset", "abc")[0] is not None
    assert voices.fitting("R. Vale", "other", "abc") == (
        None,
        "Your enrolment of 2026-11-29 is not used, since the microphone is another: read it again, or forget it.",
    )
    assert "the speech model is another" in voices.fitting("R. Vale", "boom headset", "new")[1]
    assert voices.fitting("N. Moor", "boom headset", "abc") == (None, "")


def test_a_second_reading_takes_the_place_of_the_first(tmp_path) -> None:
    voices = Voices(tmp_path)
    for day in ("2026-11-28", "2026-11-29"):
        voices.keep(replace(enrolment(), day=day))
    assert [one.day for one in voices.kept()] == ["2026-11-29"]


def test_nothing_of_it_lies_there_in_clear_and_nobody_else_may_read_it(tmp_path) -> None:
    Voices(tmp_path).keep(enrolment())
    for file in (one for one in tmp_path.rglob("*") if one.is_file()):
        assert b"Vale" not in file.read_bytes()
        assert "Vale" not in file.name
        assert file.stat().st_mode & 0o077 == 0
    (tmp_path / "voices.key").rename(tmp_path / "stolen")
    assert Voices(tmp_path).kept() == ()


def test_an_altered_or_renamed_file_is_not_used(tmp_path) -> None:
    voices = Voices(tmp_path)
    voices.keep(enrolment())
    (file,) = (tmp_path / "voices").iterdir()
    file.rename(file.with_name("0000.voice"))
    assert voices.kept() == ()


def test_whoever_is_forgotten_leaves_nothing_and_the_last_takes_the_key(tmp_path) -> None:
    voices = Voices(tmp_path)
    voices.keep(enrolment())
    voices.keep(enrolment(microphone="phone"))
    voices.keep(enrolment("B. Tarn"))
    assert voices.forget("r. vale") == 2
    assert [one.person for one in voices.kept()] == ["B. Tarn"]
    assert voices.forget("B. Tarn") == 1
    assert voices.forget("B. Tarn") == 0
    assert [one.name for one in tmp_path.rglob("*") if one.is_file()] == []
