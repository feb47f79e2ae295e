"""The margins are data with evidence: how one of them follows the noise, and how that is fitted."""

from decimal import Decimal

import pytest

from handsfree.session.margins import MARGINS, at
from models.training.judge_short_stops import fitted
from models.training.judge_stops_in_quiet import fitted as longer

LOUD, CLEAR, OTHER = Decimal(4), Decimal(35), Decimal(30)


@pytest.mark.parametrize(
    ("above", "margin"), [(None, 1), (9, 1), (10, 1), (15, 2), (20, 3), (25, 2), (30, 1), (90, 1)]
)
def test_a_margin_runs_straight_from_point_to_point_and_level_outside(above: int | None, margin: int) -> None:
    points = tuple((Decimal(one), Decimal(other)) for one, other in ((10, 1), (20, 3), (30, 1)))
    assert at(points, None if above is None else Decimal(above)) == margin


def talk(*leads: str) -> list[tuple[Decimal, Decimal]]:
    return [(OTHER, Decimal(lead)) for lead in leads]


def test_the_lead_wanted_in_quiet_is_above_that_of_other_talk() -> None:
    """A step of a quarter above the greatest; in noise it stays as small as it was."""
    said = [(CLEAR, Decimal("7.2")), (LOUD, Decimal(-1))]
    assert fitted(said, talk("3.3", "0.4")) == ((Decimal(15), Decimal("1.5")), (OTHER, Decimal("3.50")))


def test_it_stays_well_below_the_least_lead_of_a_true_stop() -> None:
    """A missed stop is the worse fault, and the tuning people are few: two below, or as small as in noise."""
    assert fitted([(CLEAR, Decimal(5))], talk("6.5"))[1][1] == Decimal("3.00")
    assert fitted([(CLEAR, Decimal(2))], talk("6.5"))[1][1] == Decimal("1.5")


def test_the_lead_of_a_longer_phrase_leaves_every_true_one_its_spare() -> None:
    """As much below the least; what leads by little when it is called wants none; none more than a short one."""
    said = {"smell gas": [(CLEAR, Decimal("6.6")), (CLEAR, Decimal(7))], "help me": [(CLEAR, Decimal("3.4"))]}
    assert longer(said) == {"smell gas": Decimal("1.50")}
    assert longer({"stop work": [(CLEAR, Decimal(40))]}) == {"stop work": MARGINS.ours_short_stop[-1][1]}
    assert longer({"smell gas": [(LOUD, Decimal(7))]}) == {}, "noise tells nothing of quiet"


def test_the_evidence_of_the_shipped_margins_tells_of_short_stops() -> None:
    """What they were fitted on stands beside them."""
    assert [one for one in MARGINS.evidence if one.startswith("short stop phrases: 58 bare stops")]
    assert [one for one in MARGINS.evidence if one.startswith("long stop phrases in quiet: ")]
