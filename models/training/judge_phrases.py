"""Fit what phrases want at closed questions: `python -m models.training.judge_phrases HEARD... [--write]`.

HEARD are files of `python -m tests.bench.hearing.visit hear --part tune --tasks phrases new-words talk
talk-at-phrases`. Where the general recogniser was asked about noise alone, too, its word beyond that counts: with
the weight by which the most right phrases lead; and up to the strangeness that hardly any other talk stays below.
Elsewhere a longer answer may be stranger: by as much as other talk that is taken for one of nine phones is.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from decimal import Decimal
from itertools import product
from pathlib import Path

from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.session.fusion import phones
from handsfree.session.margins import MARGINS as NOW
from handsfree.session.margins import Margins
from models.training.judge import ANSWERED_TALK, AT_ONCE_TALK
from models.training.judge_short_stops import write
from models.training.judged import STEP, Answered, Judged, answered, greatest, judged
from tests.bench.hearing import new_words

BEGINS = "phrases"
"""How the evidence of this fit begins."""
WEIGHTS = tuple(
    product(*(tuple(map(Decimal, each)) for each in (("0.5", "0.7", "1"), ("0.5", "0.7"), ("0.7", "1"))))
)
"""Of its word beyond noise, of the phones, and of that word against other talk."""
CLEARLY = Decimal(15)
"""Twice the lead that a value wants: tuning voices are heard so well that by less nearly all weights are level."""
SHORT, LONG = 5, 9
"""Phones: an answer of so many is allowed nothing more, one of so many or more everything."""
LONG_ANSWERED = 0.01
"""Of talk that is taken for a long answer: it comes on top of what is answered otherwise."""


def main() -> None:
    """Read what was heard, fit, print, and write when asked to."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("heard", nargs="+", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    closed, others = (judged(given.heard, beside_noise=each) for each in (True, False))
    best: tuple[int, int, int, Margins] | None = None
    for weight, phone_weight, told in WEIGHTS:
        update = {"closed_weight": weight, "closed_phone_weight": phone_weight, "closed_told": told}
        trial = _limited(NOW.model_copy(update=update), closed)
        ours = _answered(closed, trial)
        led = sum(one.right for one in ours)
        kept = sum(one.right and one.strange <= trial.closed_strange for one in ours)
        clear = sum(one.right and one.strange <= trial.closed_at_once and one.lead >= CLEARLY for one in ours)
        print(
            f"weights {weight} {phone_weight} {told}: {led} of {len(closed.answers)} right, {kept} not rejected,"
            f" {clear} clearly so"
        )
        if best is None or (kept, clear, led) >= best[:3]:  # of equal ones that which trusts the sound most
            best = kept, clear, led, trial
    assert best is not None
    kept, _, led, fitted = best
    long = [one for one in _talk(others, fitted) if one[1] >= LONG]
    beyond = greatest([one for one, _ in long], len(long), LONG_ANSWERED) - fitted.strange
    more = (beyond / STEP).to_integral_value(rounding="ROUND_FLOOR") * STEP
    evidence = (
        f"{BEGINS}: at closed questions, of {len(closed.answers)} by tuning voices, 15 to 0 dB, {led} lead and"
        f" {kept} are not rejected; of {closed.pieces} pieces of talk {100 * AT_ONCE_TALK:g} % at once,"
        f" {100 * ANSWERED_TALK:g} % answered; elsewhere of {len(long)} pieces taken for {LONG} phones or more"
        f" {100 * LONG_ANSWERED:g} %"
    )
    print(evidence)
    if given.write:
        told_before = [one for one in NOW.evidence if not one.startswith(BEGINS)]
        points = ((Decimal(SHORT), Decimal(0)), (Decimal(LONG), more))
        write(fitted.model_copy(update={"long_answer": points, "evidence": (*told_before, evidence)}))


def _limited(trial: Margins, closed: Judged) -> Margins:
    """Return margins with the limits that so much of other talk stays below."""
    other = [one for one, _ in _talk(closed, trial)]
    at_once, strange = (greatest(other, closed.pieces, share) for share in (AT_ONCE_TALK, ANSWERED_TALK))
    return trial.model_copy(update={"closed_at_once": at_once, "closed_strange": strange})


def _answered(kept: Judged, margins: Margins) -> Sequence[Answered]:
    return [one for each in kept.answers if (one := answered(*each, margins)) is not None]


def _talk(kept: Judged, margins: Margins) -> list[tuple[Answered, int]]:
    """Return what other talk would answer, and how many phones that has."""
    said = Pronunciations(new_words.procedure().words)
    found = (answered(grammar, heard, frozenset(), margins) for grammar, heard in kept.talk)
    return [(one, phones(said, one.words)) for one in found if one is not None]


if __name__ == "__main__":
    main()
