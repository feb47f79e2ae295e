"""When has somebody finished speaking: the shorter the silence waited for, the surer the grammar is."""

from __future__ import annotations

from collections.abc import Iterable

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.graph import UNKNOWN
from handsfree.lexicon.automaton import WordAutomaton

COMPLETE_MS = 160
"""After a sentence that no further word could lengthen: longer than the closed part of a "t" or "k" in a word.

With 140 to 220 the same was heard right of 104 phrases and digits, at 30, 12 and 5 dB.
"""
NOISE_EXTRA_MS = 100
"""Added to it in noise, where the quiet end of a word is heard as silence."""
NOISY_DB = 12.0
OPEN_MS = 600
"""After a sentence that could go on ("one hundred", "and twelve"), and after speech not understood."""
TALK_MS = 1_000
"""After free talk that the grammar allows (a reason, a note): people think while they speak."""
UNFINISHED_MS = 1_500
"""After words that cannot stand alone ("nine point")."""
MARKS_MS = (COMPLETE_MS, COMPLETE_MS + NOISE_EXTRA_MS, OPEN_MS, TALK_MS, UNFINISHED_MS)
"""The silences at which it is worth looking."""


def silence_wanted(words: tuple[str, ...], automaton: WordAutomaton, above_noise_db: float) -> int:
    """Return the silence (ms) after which these words, the best guess so far, are taken as all."""
    if complete(words, automaton):
        return COMPLETE_MS if above_noise_db >= NOISY_DB else COMPLETE_MS + NOISE_EXTRA_MS
    if UNKNOWN in words[1:]:
        return TALK_MS
    if not words or words == (UNKNOWN,) or automaton.accepts(words):
        return OPEN_MS
    return UNFINISHED_MS


def worth_trying(words: tuple[str, ...], automaton: WordAutomaton, silence_ms: int, above_noise_db: float) -> bool:
    """Say whether to ask for the final word after a silence; `words` are the running guess, up to 0.3 s late.

    A trial that fails costs a second pass over all that was said. Soon after the voice a word may be missing from
    the guess; later it holds them all, and tells how long to wait.
    """
    if silence_ms >= UNFINISHED_MS:
        return True
    if silence_ms <= COMPLETE_MS + NOISE_EXTRA_MS:
        return _nearly_whole(words, automaton)
    known = automaton.state_after(words) is not None
    return silence_wanted(words if known else (UNKNOWN,), automaton, above_noise_db) <= silence_ms


def silence_due(words: tuple[str, ...], automaton: WordAutomaton, above_noise_db: float) -> int:
    """Return the least silence (ms) that may end what the running guess `words` tells of."""
    if _nearly_whole(words, automaton):
        return COMPLETE_MS if above_noise_db >= NOISY_DB else COMPLETE_MS + NOISE_EXTRA_MS
    known = automaton.state_after(words) is not None
    return silence_wanted(words if known else (UNKNOWN,), automaton, above_noise_db)


def _nearly_whole(words: tuple[str, ...], automaton: WordAutomaton) -> bool:
    """Say whether words are all that can be said, or lack one that the running guess may not hold yet."""
    lacks_one = not automaton.accepts(words) and automaton.nearly_complete(words)
    return complete(words, automaton) or lacks_one


def complete(words: tuple[str, ...], automaton: WordAutomaton) -> bool:
    """Say whether nothing can follow the words; free talk at their end can always go on."""
    return automaton.complete(words) and words[-1] != UNKNOWN


def unfinished_too(automaton: WordAutomaton) -> WordAutomaton:
    """Return the grammar with every beginning of a sentence allowed as a sentence.

    A recogniser that may only hear whole sentences makes up the missing end out of silence: "nine point"
    became "nine point eight" at odds of 400 to 1. Given the choice, it says what was said. But nobody ends within
    a spelled name: the "c" of "c o two" was heard for "three".
    """
    ends = frozenset(target for _, _, target in automaton.arcs) - automaton.spelled_on()
    return WordAutomaton(automaton.arcs, ends | automaton.finals)


def best_words(alternatives: tuple[Hypothesis, ...]) -> tuple[str, ...]:
    """Return the words of the best alternative, none for silence."""
    return alternatives[0].text if alternatives else ()


def whole_sentences(alternatives: Iterable[Hypothesis], automaton: WordAutomaton) -> tuple[Hypothesis, ...]:
    """Return the alternatives with every beginning that is no sentence made `[unk]`: it must not be used.

    They keep their order and odds, so a sentence with a made-up end never moves to the front.
    """
    kept: list[Hypothesis] = []
    for one in alternatives:
        if one.text == (UNKNOWN,) or automaton.accepts(one.text):
            judged = one
        else:
            first, last = one.words[0], one.words[-1]
            sure = min(word.confidence for word in one.words)
            judged = Hypothesis((SpokenWord(UNKNOWN, first.start_ms, last.end_ms, sure),), one.score)
        if judged.text not in [other.text for other in kept]:
            kept.append(judged)
    return tuple(kept)
