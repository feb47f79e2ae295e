"""How sure it is that somebody said what was heard: a probability, told to people, that decides nothing.

The lead of the words over the other sentences of the grammar, that of unknown speech over them, and that of the
general recogniser's free text, each bounded, go into one logistic function, fitted at the gates' grammars by the
command `python -m models.training.judge_sureness`. (A word's own confidence is often 1.0 and wrong.)
"""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Final

from handsfree.events.inputs import Heard
from handsfree.lexicon.grammar import UNKNOWN_WORD
from handsfree.session import general_judgement
from handsfree.session.margins import MARGINS

LEAD, STRANGE, AHEAD = 8.0, 8.0, 8.0
"""More than so much (log) tells nothing further."""
STEP: Final = Decimal("0.01")


def features(heard: Heard) -> tuple[float, ...] | None:
    """Return what the function takes of the best words: 1, lead, strangeness, lead of free text where asked for.

    None where nothing was heard, or speech outside the grammar.
    """
    if not heard.alternatives or UNKNOWN_WORD in heard.alternatives[0].text:
        return None
    scores = [float(score) for score in general_judgement.sound_scores(heard)]
    known = [UNKNOWN_WORD not in one.text for one in heard.alternatives]
    others = [score for score, listed in zip(scores[1:], known[1:], strict=True) if listed]
    unknown = [float(one.score) for one, listed in zip(heard.alternatives, known, strict=True) if not listed]
    lead = _within(scores[0] - max(others, default=-math.inf), LEAD)
    strange = _within(max(unknown, default=-math.inf) - float(heard.alternatives[0].score), STRANGE)
    if not general_judgement.asked(heard):
        return 1.0, lead, strange
    return 1.0, lead, strange, _within(float(general_judgement.free_text_ahead(heard, 0)), AHEAD)


def how_sure(heard: Heard) -> Decimal | None:
    """Return the probability that the best words were said, in hundredths; None where there are none."""
    taken = features(heard)
    if taken is None:
        return None
    weights = MARGINS.sure_both if len(taken) > len(MARGINS.sure_ours) else MARGINS.sure_ours
    odds = sum(float(weight) * value for weight, value in zip(weights, taken, strict=True))
    return Decimal(1 / (1 + math.exp(-odds))).quantize(STEP)


def _within(value: float, bound: float) -> float:
    return max(-bound, min(bound, value))
