"""Fit the margins of judgement on the tuning people: `python -m models.training.judge HEARD... [--write]`.

HEARD are files of `python -m tests.bench.hearing.visit hear --part tune`. Answers are right by their meaning. Of
what is taken at once hardly any may be wrong (it is read back then); within that as many right ones as can be. By
our own ears alone and with the third opinion, values, speech that is not for us, and stops each get margins of
their own; what a closed question wants has a command of its own (`judge_phrases`). `--write` writes
`handsfree/session/margins.yaml` with the evidence. The margin of short stop phrases stays: `python -m
models.training.judge_short_stops` fits it, on other sound.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from decimal import Decimal
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.events.inputs import Heard
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.lexicon.meaning import Meaning
from handsfree.session import general_judgement
from handsfree.session.margins import MARGINS, Margins
from models.training import judge_short_stops, judge_stops
from models.training.judged import STEP, Answered, answered, answers_of, greatest, judged
from tests.bench.hearing.deciding import without

Floats = np.ndarray[Any, np.dtype[Any]]

AT_ONCE_TALK, ANSWERED_TALK = 0.003, 0.02
"""Of other talk so much may be taken at once, and answered at all; it holds "tomb", said as "two" is."""
OURS_AT_ONCE_TALK, OURS_LOST = 0.01, 0.015
"""By our own ears alone: of other talk so much taken at once; of answers so many not understood any more."""
OURS_LEAST_VALUE = Decimal("3.25")
"""Never less than the lead at which none of 850 digits of strangers was taken wrongly: few people tune it."""
HALF = Decimal("0.5")
LEAST_VALUE, LEAST_SAID = Decimal(3), Decimal(2)
"""Never less, whatever the tuning people would allow: they are few. The second where free text says just that."""
WRONG_AT_ONCE = 0.004
"""Of what is taken at once so much may be wrong, clean to 0 dB, before it is read back."""
LEADS = tuple(LEAST_VALUE + HALF * count for count in range(19))
LEADS_SAID = tuple(LEAST_SAID + HALF * count for count in range(13))
AT_ONCE = tuple(HALF * count for count in range(-6, 15))
FREE_AHEADS = tuple(map(Decimal, ("3", "6", "10", "14")))
PHONES_AHEAD = tuple(map(Decimal, ("2", "3", "5", "8", "25")))
WEIGHTS = tuple(product(map(Decimal, ("0.35", "0.5", "0.7")), map(Decimal, ("0.5", "0.7"))))
"""Of the third opinion's text, and of its phones. Coarse: the right ones that lead differ by 15 of 4214."""
WORTH_ANOTHER = 0.01
"""Another weight than today's must bring so many more: rules by hand, as that for stop limits, go by its scale."""
FREE_TEXTS = tuple(map(Decimal, ("0.4", "0.7")))
SAID = float(general_judgement.THE_SAME)


def main() -> None:
    """Read what was heard, fit, print, and write when asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("heard", nargs="+", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    every, kept = judged(given.heard), judged(given.heard, beside_noise=False)
    start = _by_our_ears(
        [(grammar, without(heard), said) for grammar, heard, said in every.answers],
        [(grammar, without(heard)) for grammar, heard in every.talk],
        every.pieces,
    )
    answers, talk, calls_of_talk, people = kept.answers, kept.talk, kept.pieces, kept.people
    start, told = judge_stops.fitted(start, given.heard)
    best: tuple[int, Margins] | None = None
    now = MARGINS.weight, MARGINS.phone_weight
    for weight, phone_weight in sorted(WEIGHTS, key=lambda pair: pair != now):
        for free_text in FREE_TEXTS:
            update = {"weight": weight, "phone_weight": phone_weight, "free_text": free_text}
            trial = start.model_copy(update=update)
            ours = [one for each in answers if (one := answered(*each, trial)) is not None]
            other = [one for each in talk if (one := answered(*each, frozenset(), trial)) is not None]
            fitted, taken = _fitted(trial, ours, other, calls_of_talk)
            print(
                f"weights {weight} {phone_weight}, free text {free_text}: {taken} of {len(answers)} right, "
                f"value {fitted.value} or {fitted.value_said}, "
                f"strange {fitted.strange_at_once} and {fitted.strange}, "
                f"free text ahead {fitted.free_ahead}, phones {fitted.phones_at_once}",
                flush=True,
            )
            other_than_today = (weight, phone_weight) != now
            if best is None or taken > best[0] + (WORTH_ANOTHER * best[0] if other_than_today else 0):
                best = taken, fitted
    assert best is not None
    taken, fitted = best
    wrong = f"{100 * WRONG_AT_ONCE:g} %"
    fitted_on = (
        f"{time.strftime('%Y-%m-%d')}: {len(answers)} utterances of {len(people)} people and voices kept for"
        f" tuning, clean to 0 dB, labels in doubt left out; {calls_of_talk} pieces of other talk"
    )
    gave = (
        f"{taken} right at once, at most {wrong} of them wrong; of other talk at most"
        f" {100 * AT_ONCE_TALK:g} % at once, {100 * ANSWERED_TALK:g} % answered"
    )
    by_hand = (
        "beyond_reach, phone_reach, other_phones, phones_differ, disagree, stop, listed, unlisted and sure by"
        " hand; the final part was looked at before this fit"
    )
    evidence = (fitted_on, gave, told, by_hand, *judge_short_stops.evidence_of(MARGINS))
    print("\n".join(evidence))
    if given.write:
        judge_short_stops.write(fitted.model_copy(update={"evidence": evidence}))


def _by_our_ears(
    answers: Sequence[tuple[Grammar, Heard, frozenset[Meaning]]],
    talk: Sequence[tuple[Grammar, Heard]],
    pieces: int,
) -> Margins:
    """Return the margins that hold where nobody else was asked."""
    ours = [one for each in answers if (one := _answered_alone(*each)) is not None]
    other = [one for each in talk if (one := _answered_alone(*each, frozenset())) is not None]
    near = sorted((one for one in ours if one.strange <= 0), key=lambda one: -one.lead)
    most = int(WRONG_AT_ONCE * len(near))
    wrong = sorted((one.lead for one in near if not one.right), reverse=True)
    of_talk = sorted((one.lead for one in other if one.strange <= 0), reverse=True)
    allowed = int(OURS_AT_ONCE_TALK * pieces)
    beyond = [*wrong[most : most + 1], *of_talk[allowed : allowed + 1]]
    clear = [lead for lead in beyond if lead < NOBODY_ELSE]
    least = (max([Decimal(2), *clear]) / STEP).to_integral_value(rounding="ROUND_CEILING") * STEP
    value = max(OURS_LEAST_VALUE, least)
    strange = sorted(one.strange for one in ours if one.right)
    kept = strange[min(len(strange) - 1, int((1 - OURS_LOST) * len(strange)))]
    at_most = (kept / STEP).to_integral_value(rounding="ROUND_CEILING") * STEP
    print(f"by our ears alone: value {value}, strange {at_most}")
    return MARGINS.model_copy(update={"ours_value": value, "ours_strange": max(at_most, Decimal(0))})


NOBODY_ELSE = Decimal(99)
"""The lead of what stands alone."""


def _answered_alone(grammar: Grammar, heard: Heard, said: frozenset[Meaning]) -> Answered | None:
    meant = [
        (one.score, frozenset(meanings))
        for one in heard.alternatives
        if (meanings := answers_of(grammar, one.text))
    ]
    if not meant:
        return None
    score, meanings = max(meant, key=lambda each: each[0])
    lead = min((score - other for other, others in meant if others != meanings), default=NOBODY_ELSE)
    unknown = [one.score for one in heard.alternatives if UNKNOWN_WORD in one.text and not grammar.read(one.text)]
    strange = max(unknown, default=Decimal(-20)) - score
    return Answered(lead, strange, bool(meanings & said))


def _fitted(
    trial: Margins, ours: Sequence[Answered], other: Sequence[Answered], pieces: int
) -> tuple[Margins, int]:
    """Return the margins that take the most right answers at once, within what may be wrong or was not for us."""
    leads, strange, ahead, phones, right = _columns(ours)
    leads_of_talk, strange_of_talk, ahead_of_talk, phones_of_talk, _ = _columns(other)
    best = trial, 0
    just_that, just_that_of_talk = ahead <= SAID, ahead_of_talk <= SAID
    for least, said, at_most, before, apart in product(LEADS, LEADS_SAID, AT_ONCE, FREE_AHEADS, PHONES_AHEAD):
        if said > least:
            continue
        odd, far, gap = float(at_most), float(before), float(apart)
        wanted = np.where(just_that, float(said), float(least))
        taken = (leads >= wanted) & (strange <= odd) & (ahead <= far) & (phones <= gap)
        good = int(np.sum(taken & right))
        if good <= best[1]:
            continue
        wanted = np.where(just_that_of_talk, float(said), float(least))
        near = (strange_of_talk <= odd) & (ahead_of_talk <= far) & (phones_of_talk <= gap)
        talk = np.sum((leads_of_talk >= wanted) & near)
        if talk > AT_ONCE_TALK * pieces or np.sum(taken) - good > WRONG_AT_ONCE * np.sum(taken):
            continue
        update = {"value": least, "value_said": said, "strange_at_once": at_most}
        update |= {"free_ahead": before, "phones_at_once": apart}
        best = trial.model_copy(update=update), good
    margins, good = best
    answered = max(margins.strange_at_once, greatest(other, pieces, ANSWERED_TALK))
    return margins.model_copy(update={"strange": answered}), good


def _columns(answered: Sequence[Answered]) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Return lead, strangeness, how far free text and phones lead, whether it was right, (answers) each."""
    rows = [tuple(map(float, (one.lead, one.strange, one.ahead, one.phones, one.right))) for one in answered]
    lead, strange, ahead, phones, right = np.array(rows).reshape(-1, 5).T
    return lead, strange, ahead, phones, right > 0


if __name__ == "__main__":
    main()
