"""One graph for stop words wherever they may fall: over the tool's voice, and within talk that does not pause."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from handsfree.hearing.alternatives import Hypothesis
from handsfree.hearing.graph import UNKNOWN
from handsfree.lexicon.automaton import WordAutomaton, choice, exactly, phrase, repeated

Words = tuple[str, ...]


def among_talk(stop_words: WordAutomaton) -> WordAutomaton:
    """Return the loop of stop phrases and anything else; it holds what the stop words alone hold too."""
    return repeated(choice(exactly(stop_words), phrase(UNKNOWN))).automaton()


def alone(alternatives: Iterable[Hypothesis], stop_words: WordAutomaton) -> tuple[Hypothesis, ...]:
    """Return what the loop heard where the sound is one stop phrase, or no such thing at all.

    They stand as a graph of the stop words alone lists them: the best has the score 0, unknown speech is one word.
    """
    kept: list[Hypothesis] = []
    for one in alternatives:
        unknown = set(one.text) == {UNKNOWN}
        words = one.words[:1] if unknown else one.words
        if (unknown or stop_words.accepts(one.text)) and words not in [other.words for other in kept]:
            kept.append(replace(one, words=words))
    return tuple(replace(one, score=one.score - kept[0].score) for one in kept)


def lead(alternatives: Sequence[Hypothesis]) -> Decimal:
    """Return how far (log odds) the best is before unknown speech; very far when that is no alternative."""
    competing = [one.score for one in alternatives if one.text == (UNKNOWN,)]
    return alternatives[0].score - max(competing) if competing else Decimal(99)


def phrases_in(words: Sequence[str], stop_words: WordAutomaton) -> Iterator[Words]:
    """Yield the stop phrases in a row of words, each as long as it can be."""
    begin = 0
    while begin < len(words):
        ends = (end for end in range(len(words), begin, -1) if stop_words.accepts(words[begin:end]))
        end = next(ends, None)
        if end is not None:
            yield tuple(words[begin:end])
        begin = begin + 1 if end is None else end
