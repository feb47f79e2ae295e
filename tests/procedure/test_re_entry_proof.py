"""No stop leads back to where something fires without the steps it requires: a dropped step is found, and told.

What is required is checked against `../shared/SAFETY.md` A and F, written out here once more.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from handsfree.lexicon.catalogue import Catalogue
from handsfree.lexicon.stops import Stop, StopsFile
from handsfree.procedure.languages import english
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.proofs.re_entry import skipped
from handsfree.procedure.proofs.search import reached
from handsfree.procedure.trades import known_trades, trade_data

PROCEDURES = Path(__file__).parents[2] / "procedures"
OF = {
    "combustion": "two-rate-combustion",
    "ventilation": "extract-terminal",
    "cooling": "split-cooling-charge",
    "plumbing": "hot-water-profile",
}
LARGE = pytest.mark.slow("a whole procedure is proven for each step")
EACH = [
    pytest.param(
        trade, name, step, marks=LARGE if trade in {"combustion", "cooling"} and name != "gas-smell" else ()
    )
    for trade in OF
    for name, stop in trade_data(trade).stops.stops.items()
    for step in stop.requires
]

SAFETY_F = {
    "gas-smell": [
        "supply-off",
        "released",
        "aired",
        "detector",
        "source-repaired",
        "tightness",
        "purged",
        "relit",
    ],
    "co-alarm": ["appliance-off", "room", "source-named", "relit"],
    "feel-ill": ["taken-over", "appliance-off", "room", "source-named", "relit"],
    "limit": ["cause", "purge-wait", "relit"],
    "abnormal-burning": ["cause", "purge-wait", "relit"],
    "burner-out": ["cause", "purge-wait", "relit"],
}
"""SAFETY.md F, "Back in": what stands between each stop and the next fire, in its order."""


@cache
def procedure(trade: str) -> Procedure:
    return load_procedure(PROCEDURES / f"{OF[trade]}.yaml")


def without(stops: StopsFile, name: str, step: str) -> StopsFile:
    """Return the stops with one step no longer walked after one of them."""
    stop = stops.stops[name]
    dropped = {key: tuple(one for one in getattr(stop, key) if one != step) for key in ("re_entry", "relight")}
    return stops.model_copy(update={"stops": {**stops.stops, name: stop.model_copy(update=dropped)}})


def with_stops(catalogue: Catalogue, stops: StopsFile) -> Catalogue:
    return catalogue.model_copy(update={"stops": stops})


@pytest.mark.parametrize(("name", "steps"), SAFETY_F.items())
def test_what_is_required_is_what_the_safety_page_asks(name: str, steps: list[str]) -> None:
    stop = trade_data("combustion").stops.stops[name]
    assert list(stop.requires) == steps
    assert [step for step in (*stop.re_entry, *stop.relight) if step in steps] == steps


@pytest.mark.parametrize(("trade", "name", "step"), EACH, ids=lambda one: one)
def test_a_step_that_is_dropped_is_found(trade: str, name: str, step: str) -> None:
    """Each one, of every stop of every trade: with the gate, where it would fire, and the step."""
    one = procedure(trade)
    stops = without(trade_data(trade).stops, name, step)
    found = [violation.fault.what for violation in skipped(one, stops, reached(one))]
    assert [what for what in found if f"after {name} at" in what and step in what], found


def test_nothing_is_found_where_all_is_walked() -> None:
    for trade in OF:
        assert list(skipped(procedure(trade), trade_data(trade).stops, reached(procedure(trade)))) == []


@pytest.mark.slow("a whole procedure is proven, and its finding played")
def test_the_finding_tells_a_visit_on_which_it_happens() -> None:
    """In `check`, with the gates on the way and the line of the gate."""
    one = procedure("combustion")
    stops = without(one.catalogue.stops, "gas-smell", "tightness")
    report = check(one, with_stops(one.catalogue, stops))
    (finding,) = report.failed("re-entry")
    assert "after gas-smell at site the work goes on at heat-call without tightness" in finding.what
    assert finding.gate == "site"
    assert finding.place.line > 1


def test_a_stop_without_a_watched_relight_or_without_any_step_is_found() -> None:
    one, stops = procedure("combustion"), trade_data("combustion").stops
    for update, told in (({"relight": ()}, "no step for lighting again"), ({"requires": ()}, "requires no step")):
        changed = {**stops.stops, "burn": stops.stops["burn"].model_copy(update=update)}
        found = list(skipped(one, stops.model_copy(update={"stops": changed}), reached(one)))
        assert [violation for violation in found if told in violation.fault.what]


@pytest.mark.parametrize("trade", known_trades())
def test_every_hazard_that_can_be_called_has_its_steps_and_sources(trade: str) -> None:
    catalogue = english(trade)
    assert set(catalogue.hazards) <= set(catalogue.stops.stops)
    assert all(step.source for step in catalogue.stops.steps.values())
    assert all(len(words.prompt.split()) <= 10 for words in catalogue.steps.values())


@pytest.mark.parametrize("trade", known_trades())
def test_gas_and_fire_outrank_all_that_stay(trade: str) -> None:
    """Who was told to leave leaves, whatever else is called."""
    people = [stop.people for stop in trade_data(trade).stops.stops.values()]
    assert people == sorted(people)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"limit": "nowhere"}, "there is no stop 'nowhere'"),
        ({"outside": ("nothing",)}, "outside names a step that there is not: nothing"),
    ],
)
def test_a_file_that_names_what_there_is_not_is_refused(change: dict[str, object], told: str) -> None:
    content = trade_data("combustion").stops.model_dump()
    with pytest.raises(ValueError, match=told):
        StopsFile.model_validate({**content, **change})


def test_who_left_always_comes_back_by_a_step() -> None:
    content = trade_data("combustion").stops.model_dump()
    content["stops"]["gas-smell"]["misheard"] = ()
    with pytest.raises(ValueError, match="who left comes back by a step"):
        StopsFile.model_validate(content)
    assert Stop.model_fields["misheard"].default == ()
