"""The recognisers that are compared: each takes sound and a grammar and says what it heard, and how sure it is."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import vosk

from handsfree.hearing.alternatives import Hypothesis, ScoreCalibration, from_scored
from handsfree.hearing.ending import unfinished_too, whole_sentences
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.weights import GeneralPlan
from handsfree.hearing.grammars import phrase_list
from handsfree.hearing.graph import UNKNOWN, Tuning
from handsfree.hearing.recogniser import Recogniser
from handsfree.hearing.utterance import UNMEASURED_DB, Utterance
from handsfree.lexicon.automaton import WordAutomaton
from handsfree.lexicon.meaning import Answer, HazardSaid
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.procedure.languages import english
from handsfree.session.fusion import LEAST_CONFIDENCE, choose_by_sound, hazard_called
from handsfree.session.general_judgement import sound_scores
from handsfree.session.how_sure import how_sure
from handsfree.session.margins import MARGINS
from handsfree.visit.hearing import heard_from

Words = tuple[str, ...]

_BLOCK_BYTES = 640
"""20 ms, as a microphone gives it."""


@dataclass(frozen=True)
class Heard:
    """What an ear made of a clip.

    `words` is empty for nothing and for speech that was not understood; `confidence` runs from 0 to 1.
    `guess` is the likeliest sentence of the grammar though it was not understood. `at_once` says whether a
    visit would take the words without asking again, `stop` names the hazard on which it would stop the work.
    `after` is the time, s, from the last sound to the answer.
    """

    words: Words
    confidence: float
    guess: Words = ()
    at_once: bool = False
    stop: str | None = None
    after: float = 0.0


Ear = Callable[[bytes, WordAutomaton], Heard]


def strict(model: Path) -> Ear:
    """Our model with strict graphs, as the product uses it; the confidence is that of the least sure word."""
    ears = Recogniser(model)

    def hear(sound: bytes, grammar: WordAutomaton) -> Heard:
        ears.listen_for(unfinished_too(grammar))
        for begin in range(0, len(sound), _BLOCK_BYTES):
            ears.feed(sound[begin : begin + _BLOCK_BYTES])
        ended = time.perf_counter()
        alternatives = whole_sentences(ears.finish(), grammar)
        return replace(_best(alternatives), after=time.perf_counter() - ended)

    return hear


@dataclass(frozen=True)
class _AsSaid:
    """A grammar whose sentences mean themselves, as the session asks it."""

    automaton: WordAutomaton

    def read(self, words: Words) -> tuple[Answer, ...]:
        """Return the sentence."""
        return (Answer(" ".join(words)),) if self.automaton.accepts(words) else ()


def with_third_opinion(model: Path) -> Ear | None:
    """Our model and the general recogniser, weighed and judged as on a visit; None without its weights.

    It is waited for, and hears no noise before the clip.
    """
    plan = GeneralPlan.of(english())
    if plan is None:
        return None
    member = GeneralMember(replace(plan, threads=1))
    member.wait().patient()
    ears, known = Recogniser(model, general=member), Pronunciations()

    def hear(sound: bytes, grammar: WordAutomaton) -> Heard:
        ears.listen_for(unfinished_too(grammar))
        for begin in range(0, len(sound), _BLOCK_BYTES):
            ears.feed(sound[begin : begin + _BLOCK_BYTES])
        ended = time.perf_counter()
        samples = np.frombuffer(sound, "<i2")
        alternatives = whole_sentences(ears.finish(), grammar)
        weighed, judgement = ears.weigh(samples, alternatives, grammar, np.zeros(0, np.int16))
        after = time.perf_counter() - ended
        utterance = Utterance(
            weighed, (), 0, 0, False, False, False, UNMEASURED_DB, UNMEASURED_DB, 0, samples, judgement
        )
        recorded = heard_from(utterance, 0, 0, grammar.identity, None)
        chosen = choose_by_sound(english(), known, _AsSaid(grammar), recorded)
        ranked = sorted(zip(sound_scores(recorded), weighed, strict=True), key=lambda each: -each[0])
        guess = next((one.text for _, one in ranked if UNKNOWN not in one.text), ())
        stop = chosen.meaning.name if isinstance(chosen.meaning, HazardSaid) else None
        sure = how_sure(recorded) or 0
        if chosen.meaning is None:
            return Heard((), 0.0, guess, after=after)
        return Heard(chosen.words, float(sure), guess, not chosen.doubt, stop, after)

    return hear


def phrase_lists(model: Path) -> Ear:
    """Our model with the library's phrase lists; sentences outside the grammar count as not understood."""
    vosk.SetLogLevel(-1)
    native_model = vosk.Model(str(model))
    tuning = Tuning.of_model(model)
    judgement = ScoreCalibration(tuning.score_scale, tuning.base, tuning.steepness)
    known = Pronunciations()

    def phones_in(word: str) -> int:
        return len(known.of(word)[0])

    def hear(sound: bytes, grammar: WordAutomaton) -> Heard:
        listed = [
            text
            for text in phrase_list(grammar)
            if all(native_model.vosk_model_find_word(word) >= 0 for word in text.split())
        ]
        native = vosk.KaldiRecognizer(native_model, 16_000, json.dumps([*listed, UNKNOWN]))
        native.SetMaxAlternatives(20)
        native.SetWords(True)
        for begin in range(0, len(sound), _BLOCK_BYTES):
            native.AcceptWaveform(sound[begin : begin + _BLOCK_BYTES])
        return _best(from_scored(json.loads(native.FinalResult())["alternatives"], grammar, judgement, phones_in))

    return hear


def pocketsphinx() -> Ear | None:
    """pocketsphinx with the model it carries and the same grammar, written in JSGF; None where not installed."""
    try:
        from pocketsphinx import Decoder  # noqa: PLC0415 - only the bench has it
    except ImportError:
        return None
    decoder = Decoder(loglevel="FATAL", lm=None, samprate=16_000.0)
    known: dict[str, bool] = {}

    def hear(sound: bytes, grammar: WordAutomaton) -> Heard:
        if grammar.identity not in known:
            decoder.add_jsgf_string(
                grammar.identity, _jsgf(grammar, lambda word: decoder.lookup_word(word) is not None)
            )
            known[grammar.identity] = True
        decoder.activate_search(grammar.identity)
        decoder.start_utt()
        decoder.process_raw(sound, full_utt=True)
        decoder.end_utt()
        best = decoder.hyp()
        words = tuple(best.hypstr.split()) if best is not None else ()
        words = words if grammar.accepts(words) else ()
        return Heard(words, 1.0, words)

    return hear


def whisper(folder: Path | None) -> Ear | None:
    """Whisper tiny without a grammar; its text is read into the words it stands for. None without weights."""
    if folder is None:
        return None
    from faster_whisper import WhisperModel  # noqa: PLC0415 - only the bench has it

    model = WhisperModel(str(folder), device="cpu", compute_type="int8", cpu_threads=1)

    def hear(sound: bytes, grammar: WordAutomaton) -> Heard:
        samples = np.frombuffer(sound, "<i2").astype(np.float32) / 32768
        parts, _ = model.transcribe(samples, language="en", beam_size=5, without_timestamps=True)
        text = " ".join(part.text for part in parts)
        words = _as_words(text, grammar)
        return Heard(words, 1.0, words)

    return hear


def _best(alternatives: tuple[Hypothesis, ...]) -> Heard:
    guess = next((one.text for one in alternatives if UNKNOWN not in one.text), ())
    called = hazard_called(english(), Pronunciations(), [(one.text, one.score) for one in alternatives])
    stop = None if called is None else called[0]
    if not alternatives or UNKNOWN in alternatives[0].text:
        return Heard((), 0.0, guess, stop=stop)
    best = alternatives[0]
    sure = min(word.confidence for word in best.words)
    rival = next((one.score for one in alternatives[1:] if UNKNOWN not in one.text), None)
    at_once = sure >= LEAST_CONFIDENCE and (rival is None or best.score - rival >= MARGINS.ours_value)
    return Heard(best.text, float(sure), guess, at_once, stop)


def _jsgf(grammar: WordAutomaton, knows: Callable[[str], bool]) -> str:
    """Write an automaton as rules, one a state."""
    onward: dict[int, list[str]] = {}
    for source, word, target in grammar.arcs:
        if knows(word):
            onward.setdefault(source, []).append(f"{word} <s{target}>")
    for final in grammar.finals:
        onward.setdefault(final, []).append("<NULL>")
    rules = "".join(f"<s{state}> = {' | '.join(ways)};\n" for state, ways in sorted(onward.items()))
    return f"#JSGF V1.0;\ngrammar g;\npublic <g> = <s0>;\n{rules}"


_ONES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TENS = {
    "2": "twenty",
    "3": "thirty",
    "4": "forty",
    "5": "fifty",
    "6": "sixty",
    "7": "seventy",
    "8": "eighty",
    "9": "ninety",
}
_TEENS = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip


def _as_words(text: str, grammar: WordAutomaton) -> Words:
    """Read free text, digits included, as the sentence of the grammar that it stands for; () when there is none.

    Kindly: digits may be said one by one or in pairs, "0" as zero or oh, and punctuation means nothing.
    """
    cleaned = "".join(sign if sign.isalnum() or sign in "'." else " " for sign in text.lower())
    ways: list[Words] = [()]
    for token in cleaned.replace(".", " . ").split():
        said = _readings(token)
        ways = [way + one for way in ways for one in said][:4096]
    for way in ways:
        if grammar.accepts(way):
            return way
    return ()


def _readings(token: str) -> list[Words]:
    if token == ".":
        return [(), ("point",)]
    if not token.isdigit():
        return [(token,)]
    if token == "":
        return [()]
    found: list[Words] = []
    heads: list[tuple[Words, str]] = [((word,), token[1:]) for word in _digit_words(token[0])]
    if len(token) > 1 and token[0] == "1":
        heads.append(((_TEENS[int(token[1])],), token[2:]))
    if len(token) > 1 and token[0] in _TENS:
        ones = () if token[1] == "0" else (_ONES[int(token[1])],)
        heads.append(((_TENS[token[0]], *ones), token[2:]))
    for head, rest in heads:
        found += [(*head, *one) for one in (_readings(rest) if rest else [()])]
    if len(token) == 3 and token[0] != "0":
        rest = _readings(token[1:].lstrip("0")) if token[1:].strip("0") else [()]
        found += [(_ONES[int(token[0])], "hundred", *middle, *one) for one in rest for middle in ((), ("and",))]
    return found[:256]


def _digit_words(digit: str) -> tuple[str, ...]:
    return ("zero", "oh") if digit == "0" else (_ONES[int(digit)],)
