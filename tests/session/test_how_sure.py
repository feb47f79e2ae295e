"""How sure a visit is of what it heard: a probability that grows with the lead, as often right as it says."""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from handsfree.events.inputs import Alternative, GeneralHearing, Heard, HeardWord
from handsfree.session.how_sure import how_sure
from models.training.judge_sureness import calibration_error, fitted, sure


def heard(*listed: tuple[str, str, str | None], free: str | None = None) -> Heard:
    """Return an utterance of words, our score, the general recogniser's; `free` is what its free text has."""
    alternatives = [
        Alternative(
            words=tuple(
                HeardWord(word=one, start_ms=0, end_ms=200, confidence=Decimal(1)) for one in text.split()
            ),
            score=Decimal(score),
            general=None if general is None else Decimal(general),
        )
        for text, score, general in listed
    ]
    told = None if free is None else GeneralHearing(member="x", text="", likelihood=Decimal(free))
    return Heard(at=1, started=0, ended=1, grammar="x", alternatives=tuple(alternatives), general=told)


def test_the_probability_grows_with_the_lead_and_falls_with_unknown_speech() -> None:
    """By our ears alone; each lead further, up to a bound."""
    leads = [how_sure(heard(("nine", "0", None), ("five", f"-{lead}", None))) for lead in (1, 3, 5, 8, 20)]
    assert leads == sorted(leads, key=lambda one: one or Decimal(0))
    assert leads[0] != leads[-1] == leads[-2]
    alone = how_sure(heard(("nine", "0", None), ("five", "-2", None)))
    talk = how_sure(heard(("nine", "0", None), ("[unk]", "-0.5", None), ("five", "-2", None)))
    assert alone is not None
    assert talk is not None
    assert talk < alone


def test_what_is_no_answer_has_none() -> None:
    """Nothing, and speech outside the grammar."""
    assert how_sure(heard()) is None
    assert how_sure(heard(("[unk]", "0", None), ("nine", "-1", None))) is None


def test_the_third_opinion_counts_where_it_was_asked() -> None:
    """It finds another number likelier, or writes something else."""
    agreed = how_sure(heard(("nine", "0", "-1"), ("five", "-3", "-9"), free="-1"))
    against = how_sure(heard(("nine", "0", "-9"), ("five", "-3", "-1"), free="-1"))
    strange = how_sure(heard(("nine", "0", "-9"), ("five", "-3", "-17"), free="-1"))
    assert agreed is not None
    assert against is not None
    assert strange is not None
    assert agreed > Decimal("0.95") > against
    assert agreed > strange


def test_the_fit_finds_the_odds_that_made_the_answers() -> None:
    """Answers drawn by a known logistic function: weights come back, and the error is that of chance alone."""
    chance = np.random.default_rng(4)
    taken = np.stack([np.ones(20_000), chance.uniform(-4, 4, 20_000)], axis=1)
    right = (chance.uniform(size=20_000) < sure(taken, np.array([0.5, 1.2]))).astype(float)
    weights = fitted(taken, right)
    assert np.allclose(weights, [0.5, 1.2], atol=0.06)
    assert calibration_error(sure(taken, weights), right) < 0.01
    assert calibration_error(np.full(20_000, 0.99), right) > 0.3
