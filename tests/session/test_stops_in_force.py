"""The stop limits of a visit: the defaults, the maker's from the appliance sheet, the job's tighter ones."""

from __future__ import annotations

from decimal import Decimal

import pytest
from rehearsed import sheets, shipped, with_appliance, with_fuel, with_job

from handsfree.events import decisions as ev
from handsfree.lexicon.meaning import Called
from handsfree.session.stops import decides_a_stop, stops_open
from handsfree.trades.combustion import stops
from handsfree.trades.combustion.stop_limits import DEFAULTS
from handsfree.trades.combustion.stops import limits_in_force
from handsfree.trades.sheets import Sheets

D = Decimal


def opened(
    used: Sheets | None = None, *, rising: bool = False, may_adjust: bool = True, **values: str
) -> list[str]:
    """Return the names of the stops that values open, as they are called: numbers, or what stood there instead."""
    called: dict[str, Called] = {
        quantity: D(value) if value[0].isdigit() else value  # type: ignore[misc]
        for quantity, value in values.items()
    }
    on = used or sheets()
    return [stop.name for stop in stops._open(on, called, rising=rising, may_adjust=may_adjust)]


def test_the_makers_limits_are_loaded_with_their_page() -> None:
    """The invented sheet: CO 200 ppm air-free on page 43, flue 90 Cel on page 33; all defaults beside them."""
    limits = limits_in_force(sheets()).limits
    co, flue = limits["maker-air-free-co"], limits["flue-temperature"]
    assert (co.value, co.source) == (D(200), "larkmoor-24-installation.pdf, page 43, revision invented A")
    assert (flue.value, flue.source) == (D(90), "larkmoor-24-installation.pdf, page 33, revision invented A")
    assert {name: limits[name] for name in DEFAULTS} == dict(DEFAULTS)


@pytest.mark.parametrize(
    ("basis", "high", "name"),
    [
        ("air-free", "200", "maker-air-free-co"),
        ("as measured", "150", "maker-co"),
        ("ratio", "0.004", "maker-co-ratio"),
    ],
)
def test_the_makers_co_limit_holds_on_its_own_basis(basis: str, high: str, name: str) -> None:
    """One basis is loaded; the other two stay without a limit."""
    co = sheets().fuel.co
    assert co is not None
    used = with_fuel(co=co.model_copy(update={"basis": basis, "high": D(high)}))
    assert limits_in_force(used).limits[name].value == D(high)
    assert set(limits_in_force(used).missing()) >= {"maker-air-free-co", "maker-co", "maker-co-ratio"} - {name}


def test_what_the_maker_does_not_give_is_not_invented() -> None:
    """Neither CO nor flue temperature, nor an upper edge that a sheet leaves open."""
    hot = sheets().appliance.flue_temperature_high
    assert hot is not None
    for used in (
        with_fuel(co=None),
        with_appliance(flue_temperature_high=None),
        with_appliance(flue_temperature_high=hot.model_copy(update={"high": None})),
    ):
        limits_in_force(used)
    assert "maker-air-free-co" in limits_in_force(with_fuel(co=None)).missing()
    assert "flue-temperature" in limits_in_force(with_appliance(flue_temperature_high=None)).missing()
    none = with_appliance(flue_temperature_high=hot.model_copy(update={"high": None}))
    assert "flue-temperature" in limits_in_force(none).missing()
    assert opened(none, flue_temperature="95") == []


def test_the_jobs_tighter_limit_counts_and_names_the_job_sheet() -> None:
    """A company asks for no more than 9 ppm in the room."""
    used = with_job(tighter={"ambient-co": D(9)})
    limit = limits_in_force(used).limits["ambient-co"]
    assert (limit.value, limit.source) == (D(9), "job sheet")
    assert opened(used, ambient_co="20") == ["ambient-co"]
    assert opened(ambient_co="20") == []


@pytest.mark.parametrize(
    ("values", "stops"),
    [
        ({"co": "401"}, ["maker-air-free-co", "air-free-co"]),
        ({"o2": "1.9"}, ["flue-o2"]),
        ({"flue_temperature": "91"}, ["flue-temperature"]),
        ({"ambient_co": "36"}, ["ambient-co"]),
        ({"ambient_co": "100"}, ["ambient-co-evacuate"]),
        ({"air_duct_o2": "20.5"}, ["air-duct-o2"]),
        ({"air_duct_co2": "0.3"}, ["air-duct-co2"]),
        ({"co": "over range"}, ["co-over-range"]),
        ({"ambient_co": "over range"}, ["ambient-co-over-range"]),
        ({"co": "no reading", "o2": "no reading", "flue_temperature": "over range"}, []),
        ({"ambient_co": "12"}, []),
        ({"standing_pressure": "70", "working_pressure": "1"}, []),
        ({}, []),
    ],
)
def test_a_value_beyond_a_limit_opens_its_stop(values: dict[str, str], stops: list[str]) -> None:
    """A search for the source of 10 ppm in the room stops no visit; supply pressures have a verdict instead."""
    assert sorted(opened(may_adjust=False, **values)) == sorted(stops)


def test_evacuation_comes_before_the_burner() -> None:
    """The gravest is what is spoken."""
    assert opened(ambient_co="over range", co="over range") == ["ambient-co-over-range", "co-over-range"]


def test_over_range_in_one_quantity_is_not_taken_for_another() -> None:
    """O2 over its range is no CO over its range."""
    assert opened(o2="over range", co="20") == []
    assert opened(ambient_co="over range", co="20") == ["ambient-co-over-range"]
    assert opened(co="over range", ambient_co="2") == ["co-over-range"]


def test_co_over_the_makers_limit_stops_when_nothing_may_be_adjusted() -> None:
    """180 ppm at O2 3.0 is 210 ppm air-free (180 * 20.9 / (20.9 - 3.0)): over 200, under the general 400."""
    high = {"co": "180", "o2": "3.0", "co2": "10.2"}
    assert opened(**high, may_adjust=True) == []
    assert opened(**high, may_adjust=False) == ["maker-air-free-co"]
    assert opened(with_appliance(adjustment="forbidden"), **high, may_adjust=True) == ["maker-air-free-co"]


def test_rising_co_opens_its_stop_only_when_it_rises() -> None:
    """From 100 ppm (trade journal)."""
    assert opened(co="110", rising=True) == ["rising-co"]
    assert opened(co="110") == []


def test_rising_co_above_the_highest_band_is_a_rich_mixture() -> None:
    """The top of the highest band of the fuel counts, whatever the rate: 10.4 here, at maximum."""
    bands = sheets().fuel.co2
    higher = {**bands, "maximum": bands["maximum"].model_copy(update={"high": D("10.4")})}
    assert opened(co="40", co2="10.0", rising=True) == ["rich-mixture"]
    assert opened(with_fuel(co2=higher), co="40", co2="10.0", rising=True) == []
    assert opened(with_fuel(co2=higher), co="40", co2="10.5", rising=True) == ["rich-mixture"]


def test_a_band_open_at_its_top_tells_nothing_of_a_rich_mixture() -> None:
    """One open edge leaves the other band's; without any band nothing is said."""
    bands = {rate: band.model_copy(update={"high": None}) for rate, band in sheets().fuel.co2.items()}
    assert opened(with_fuel(co2=bands), co="40", co2="10.5", rising=True) == []
    one = {**bands, "maximum": sheets().fuel.co2["maximum"]}
    assert opened(with_fuel(co2=one), co="40", co2="10.5", rising=True) == ["rich-mixture"]
    assert opened(with_fuel(co2={}), co="40", co2="10.5", rising=True) == []


def records(**values: str) -> dict[str, ev.ReadingRecord]:
    return {
        quantity: ev.ReadingRecord(**shipped().reading(quantity, D(value)).to_record())
        for quantity, value in values.items()
    }


@pytest.mark.parametrize(
    ("quantity", "values", "decides"),
    [
        ("ambient_co", {"ambient_co": "36"}, True),  # beyond its own limit
        ("ambient_co", {"ambient_co": "20"}, False),
        ("co", {"co": "180", "o2": "15.0"}, True),  # 180 x 20.9 / (20.9 - 15.0) = 638 ppm air-free, over 400
        ("co", {"co": "120", "o2": "4.0"}, False),  # 120 x 20.9 / 16.9 = 148 ppm air-free
        ("flue_temperature", {"co": "180", "o2": "15.0", "flue_temperature": "50"}, False),
    ],
)
def test_what_opens_a_stop_alone_or_with_its_set_is_called_twice(
    quantity: str, values: dict[str, str], decides: bool
) -> None:
    """CO does so with O2; what cannot be its cause is not asked for again."""
    assert decides_a_stop(shipped(), quantity, records(**values)) == decides


def test_what_an_adjuster_may_bring_back_stops_nothing_by_itself() -> None:
    """180 ppm at O2 3.0 is 210 ppm air-free: over the maker's 200, under the general 400."""
    values = records(co="180", o2="3.0", co2="10.2")
    assert stops_open(shipped(), values) == ()
    assert [stop.name for stop in stops_open(shipped(), values, may_adjust=False)] == ["maker-air-free-co"]
