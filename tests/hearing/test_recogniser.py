"""The recogniser on real sound: people reading numbers, and the tool's own kind of voice."""

import csv
import json
import shutil
import subprocess
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.hearing.alternatives import ScoreCalibration, from_scored
from handsfree.hearing.grammars import phrase_list
from handsfree.hearing.graph import UNKNOWN
from handsfree.hearing.margins import with_faint_noise
from handsfree.hearing.model_folder import SUMS
from handsfree.hearing.recogniser import SAMPLE_RATE, Recogniser
from handsfree.lexicon.automaton import choice, optional, phrase, phrases, repeated, sequence
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem

SHIPPED = Path(__file__).parents[2] / "models" / "english"
PEOPLE = Path(__file__).parents[3] / "shared" / "speech"
DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "oh"]
DIGIT = phrases(DIGITS)
READING = sequence(DIGIT, phrase("point"), DIGIT, optional(DIGIT)).automaton()

needs_people = pytest.mark.skipif(
    not PEOPLE.is_dir(), reason="no ../shared: the recordings of people are not here"
)
needs_voice = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")


@pytest.fixture(scope="module")
def recogniser():
    return Recogniser(SHIPPED)


def spoken(text: str) -> bytes:
    """Render text with espeak-ng, at the sample rate of the recogniser."""
    sound = subprocess.run(
        ["espeak-ng", "-v", "en-us", "-s", "150", "--stdout", text], capture_output=True, check=True
    ).stdout
    samples = np.frombuffer(sound[44:], "<i2").astype(float)
    times = np.arange(int(len(samples) * SAMPLE_RATE / 22050)) * 22050 / SAMPLE_RATE
    quiet = np.zeros(SAMPLE_RATE // 4)
    return (
        np.concatenate([quiet, np.interp(times, np.arange(len(samples)), samples), quiet]).astype("<i2").tobytes()
    )


@pytest.mark.slow("minutes of people's recordings")
@needs_people
def test_people_who_were_never_heard_are_understood_in_strings_of_digits(recogniser):
    """CMU AN4, test part: whole strings of at least three digits, all right in three of four (measured: more)."""
    with (PEOPLE / "an4" / "test.tsv").open() as listing:
        rows = [row for row in csv.DictReader(listing, delimiter="\t") if set(row["words"].split()) <= set(DIGITS)]
    grammar = repeated(DIGIT).automaton()
    right = 0
    for row in rows:
        samples, rate = soundfile.read(PEOPLE / "an4" / "test" / f"{row['file']}.flac", dtype="int16")
        assert rate == SAMPLE_RATE
        heard = recogniser.recognise(samples.tobytes(), grammar)
        right += bool(heard) and " ".join(heard[0].text) == row["words"]
    assert len(rows) > 10
    assert right >= 0.6 * len(rows), f"{right} of {len(rows)}"


@needs_voice
def test_a_spoken_reading_is_heard_with_times_and_confidences(recogniser):
    pcm = spoken("nine point three")
    best = recogniser.recognise(pcm, READING)[0]
    assert best.text == ("nine", "point", "three")
    assert best.score == 0
    assert all(Decimal(0) <= word.confidence <= Decimal(1) for word in best.words)
    times = [time for word in best.words for time in (word.start_ms, word.end_ms)]
    assert times == sorted(times)
    assert times[-1] <= len(pcm) / 2 / SAMPLE_RATE * 1000 + 30  # the recogniser counts in steps of 30 ms


@needs_voice
def test_times_count_the_sound_that_was_fed_and_nothing_else(recogniser):
    """Of utterances after one another under one grammar too: the faint noise around each is not counted."""
    recogniser.listen_for(READING)
    begin = 0
    for text in ("one point four", "nine point nine", "six point two"):
        pcm = spoken(text)
        end = begin + len(pcm) * 1000 // (2 * SAMPLE_RATE)
        recogniser.feed(pcm)
        words = recogniser.finish()[0].words
        assert begin + 250 <= words[0].start_ms < begin + 500  # quiet for a quarter of a second, then the voice
        assert words[-1].end_ms <= end + 1  # parts of a millisecond
        begin = end


@pytest.mark.slow("a hundred recordings")
@needs_people
def test_clips_cut_close_around_their_words_are_heard(recogniser):
    """The free-spoken-digit-dataset: digits of a speaker never trained on, without a moment before or after."""
    grammar = phrases([*DIGITS[:-1], "go", "up", "down", "left", "right", "yes", "no", "stop"]).automaton()
    files = sorted((PEOPLE / "digits").glob("*_s5_*.flac"))[::5]
    right = 0
    for file in files:
        heard = recogniser.recognise(resampled(soundfile.read(file)[0]).tobytes(), grammar)
        right += bool(heard) and heard[0].text == (DIGITS[int(file.name[0])],)
    assert len(files) == 100
    assert right >= 95, f"{right} of 100"


def test_exact_zeros_never_reach_the_recogniser():
    heard = np.frombuffer(with_faint_noise(bytes(80_000)), "<i2")
    assert all(np.any(part) for part in heard.reshape(-1, 400))  # each 25 ms, a frame of the features
    assert np.abs(heard).max() == 1
    loud = np.full(10_000, 32767, "<i2").tobytes()
    assert np.frombuffer(with_faint_noise(loud), "<i2").min() >= 32766


def resampled(samples: np.ndarray) -> np.ndarray:
    """Bring telephone sound (8 kHz, floats) to the rate of the recogniser, int16."""
    from scipy.signal import resample_poly  # noqa: PLC0415 - half a second, only where it is needed

    return np.rint(resample_poly(samples, 2, 1) * 20_000).clip(-32768, 32767).astype("<i2")


@needs_voice
def test_what_is_heard_depends_on_the_sound(recogniser):
    """Another sound in the same grammar gives another value: nothing is assumed."""
    assert recogniser.recognise(spoken("four point two"), READING)[0].text == ("four", "point", "two")
    assert recogniser.recognise(spoken("nine point three"), READING)[0].text == ("nine", "point", "three")


@needs_voice
def test_speech_outside_the_grammar_is_unknown_speech(recogniser):
    heard = recogniser.recognise(spoken("would you like some more coffee with your breakfast"), READING)
    assert heard[0].text == (UNKNOWN,)


def test_silence_is_nothing(recogniser):
    assert recogniser.recognise(bytes(2 * SAMPLE_RATE), READING) == ()


def test_no_sound_at_all_is_nothing(recogniser):
    assert recogniser.recognise(b"", READING) == ()


@needs_voice
def test_words_can_be_seen_before_the_end_and_long_pauses_do_not_end_the_utterance(recogniser):
    recogniser.listen_for(READING)
    recogniser.feed(spoken("nine point two"))
    recogniser.feed(bytes(2 * SAMPLE_RATE * 3))
    assert recogniser.partial() == ("nine", "point", "two")
    assert recogniser.finish()[0].text == ("nine", "point", "two")


@needs_voice
def test_one_recogniser_hears_one_utterance_after_the_other_and_changes_grammar_in_mid_speech(recogniser):
    recogniser.listen_for(READING)
    for text in ("one point four", "nine point nine"):
        recogniser.feed(spoken(text))
        assert " ".join(recogniser.finish()[0].text) == text
    recogniser.feed(spoken("one point four"))
    recogniser.listen_for(choice(phrase("yes"), phrase("no")).automaton())
    recogniser.feed(spoken("yes"))
    assert recogniser.finish()[0].text == ("yes",)


@needs_voice
def test_a_word_spelled_out_in_phones_is_heard_without_training():
    recogniser = Recogniser(SHIPPED, Pronunciations({"sevarine": "S EH V ER IY N"}))
    grammar = phrases(["sevarine", "isolated", "removed"]).automaton()
    assert recogniser.recognise(spoken("sevarine"), grammar)[0].text == ("sevarine",)


def test_a_foreign_model_hears_phrase_lists_and_names_unknown_words(tmp_path):
    """Our own model without its list of units stands for any other model in the same layout."""
    model = Path(shutil.copytree(SHIPPED, tmp_path / "model"))
    (model / SUMS).unlink()
    (model / "graph/phones.txt").unlink()
    recogniser = Recogniser(model)
    with pytest.raises(Problem, match="the model does not know the words grommet, turquoise"):
        recogniser.listen_for(phrase("turquoise grommet").automaton())
    if shutil.which("espeak-ng"):
        assert recogniser.recognise(spoken("nine point three"), READING)[0].text == ("nine", "point", "three")


def test_a_short_language_is_listed_and_a_long_one_is_given_by_its_pairs():
    assert list(phrase_list(choice(phrase("hold on"), phrase("yes")).automaton())) == ["hold on", "yes"]
    assert "one two" in phrase_list(repeated(phrases(["one", "two"])).automaton())


def test_sentences_outside_the_grammar_count_as_unknown_and_odds_are_shared():
    def said(confidence, *words):
        return {
            "confidence": confidence,
            "result": [{"word": word, "start": n, "end": n + 1.0} for n, word in enumerate(words)],
        }

    grammar = phrases(["nine point three", "nine point five"]).automaton()
    heard = from_scored(
        [said(10.0, "nine", "point", "three"), said(8.0, "nine", "point", "five"), said(9.0, "nine", "nine")],
        grammar,
        ScoreCalibration(score_scale=2.0),
    )
    assert [one.text for one in heard] == [("nine", "point", "three"), (UNKNOWN,), ("nine", "point", "five")]
    assert [one.score for one in heard] == [Decimal("0.000"), Decimal("-0.500"), Decimal("-1.000")]
    shares = np.exp([0, -0.5, -1.0]) / np.exp([0, -0.5, -1.0]).sum()
    assert float(heard[0].words[0].confidence) == pytest.approx(shares[0] + shares[2], abs=1e-3)
    assert float(heard[0].words[2].confidence) == pytest.approx(shares[0], abs=1e-3)


def test_when_silence_is_likeliest_nothing_was_heard():
    heard = [
        {"confidence": 5.0, "text": ""},
        {"confidence": 1.0, "result": [{"word": "yes", "start": 0, "end": 1}]},
    ]
    assert from_scored(heard, phrase("yes").automaton(), ScoreCalibration()) == ()


def test_a_sentence_that_fits_its_sound_badly_gives_its_odds_to_unknown_speech():
    heard = [{"confidence": -12.0, "result": [{"word": "yes", "start": 0, "end": 1}]}]
    judgement = ScoreCalibration(base=2.0, steepness=1.0)
    found = from_scored(heard, phrase("yes").automaton(), judgement, lambda word: 3)
    known = 1 / (1 + np.exp(2.0))
    assert [one.text for one in found] == [(UNKNOWN,), ("yes",)]
    assert [float(one.words[0].confidence) for one in found] == pytest.approx([1 - known, known], abs=1e-3)
    assert float(found[1].score) == pytest.approx(-2.0, abs=1e-3)


@needs_voice
@pytest.mark.parametrize("rate", [15_000, 17_000])
def test_an_opinion_at_another_tempo_hears_the_words_at_the_same_times(rate, tmp_path):
    """Against the network that takes the sound as it is; a network tells times in steps of 30 ms."""
    plain, other = (
        settled(tmp_path / name, [["final.mdl", hz]]) for name, hz in (("plain", 16_000), ("other", rate))
    )
    pcm = spoken("nine point three")
    expected, found = (Recogniser(model).recognise(pcm, READING)[0] for model in (plain, other))
    assert found.text == expected.text == ("nine", "point", "three")
    for one, same in zip(found.words, expected.words, strict=True):
        assert abs(one.start_ms - same.start_ms) <= 60
        assert abs(one.end_ms - same.end_ms) <= 60


@needs_voice
def test_two_opinions_together_say_the_mean_of_what_each_says_alone(tmp_path):
    """A word in so much noise that each hears others in it too."""
    rates = (15_000, 17_000)
    models = [settled(tmp_path / f"{rate}", [["final.mdl", rate]]) for rate in rates]
    models.append(settled(tmp_path / "both", [["final.mdl", rate] for rate in rates]))
    clean = np.frombuffer(spoken("five"), "<i2")
    pcm = (clean * 0.2 + np.random.default_rng(3).normal(0, 1200, len(clean))).astype("<i2").tobytes()
    slow, fast, both = (
        {one.text: float(one.score) for one in Recogniser(model).recognise(pcm, DIGIT.automaton())}
        for model in models
    )
    shared = sorted(set(slow) & set(fast) & set(both))
    assert len(shared) >= 2
    for text in shared:
        assert both[text] == pytest.approx((slow[text] + fast[text]) / 2, abs=0.002)


def settled(folder: Path, members: list[list[object]]) -> Path:
    """Copy the shipped model and give it these members, with scores as they are."""
    shutil.copytree(SHIPPED, folder)
    (folder / SUMS).unlink()
    file = folder / "conf" / "listening.json"
    settings = json.loads(file.read_text(encoding="utf-8"))
    settings |= {"opinions": members, "score_scale": 1.0, "base": 0.0, "steepness": 0.0}
    file.write_text(json.dumps(settings), encoding="utf-8")
    with (folder / "conf" / "fbank.conf").open("a") as features:
        features.write("--allow-upsample=true\n")
    return folder
