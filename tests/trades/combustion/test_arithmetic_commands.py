"""The commands flue, gasrate and settling: numbers in, all the rest out, or one clear sentence."""

from __future__ import annotations

import json
import sys

import pytest
from typer.testing import CliRunner

from handsfree.commands.arithmetic import app
from handsfree.commands.quantities import quantity
from handsfree.problem import Problem


def run(*arguments):
    """Run a command; a Problem comes through as it would to the program's own error handler."""
    return CliRunner().invoke(app, arguments, catch_exceptions=False)


def values(*arguments):
    result = run(*arguments, "--json")
    assert result.exit_code == 0
    return {key: line["value"] for key, line in json.loads(result.stdout)["values"].items()}


def test_from_o2_all_the_rest():
    """C042, C106: methane at O2 5 %, flue 40 Cel."""
    told = values("flue", "--fuel", "methane", "--o2", "5", "--flue", "40", "--input", "10 kW")
    assert told["air_ratio"] == "1.281"
    assert told["excess_air"] == "28.1"
    assert told["co2"] == "8.95"
    assert (told["efficiency_net"], told["efficiency_gross"], told["condensed"]) == ("105.1", "94.7", "56")
    assert told["condensate"] == "0.81"
    assert told["siegert_loss"] == "none"


def test_from_co2_all_the_rest():
    """C033: methane at CO2 9.4 %."""
    told = values("flue", "--fuel", "methane", "--co2", "9.4")
    assert (told["o2"], told["air_ratio"], told["excess_air"]) == ("4.19", "1.224", "22.4")


def warned(*arguments):
    told = run(*arguments, "--json")
    assert told.exit_code == 0
    return json.loads(told.stdout)["warnings"]


def test_readings_past_a_stop_limit_are_warned_of():
    """C052's formula: 3,000 ppm at 0.5 % O2 is 3,074 ppm air-free, beyond 400; O2 below 2 % may be rich."""
    first, second = warned("flue", "--fuel", "ng", "--o2", "0.5", "--co", "3000")
    assert first.startswith("stop limit air free co: 3073.5 [ppm], above 400 [ppm]")
    assert second.startswith("stop limit flue o2: 0.5 %, below 2 %")
    assert "warning: stop limit air free co" in run("flue", "--fuel", "ng", "--o2", "0.5", "--co", "3000").stdout


def test_a_pair_that_no_flue_gas_has_and_odd_values_are_warned_of():
    """C176: a propane pair under natural gas; a flue colder than any burner leaves it."""
    (pair,) = warned("flue", "--fuel", "ng", "--o2", "5.1", "--co2", "10.4")
    assert "fits propane" in pair
    (odd,) = warned("flue", "--fuel", "ng", "--o2", "4.4", "--co2", "9.3", "--flue", "12")
    assert odd == "unusual: flue temperature 12.0 Cel, below 25 (common practice, no source)"


def test_ordinary_readings_are_not_warned_of():
    """CO2 9.3 with O2 4.4 and CO 18 at natural gas."""
    assert warned("flue", "--fuel", "ng", "--o2", "4.4", "--co2", "9.3", "--co", "18", "--flue", "58") == []


def test_a_composition_in_mole_percent_is_a_fuel():
    """C018: natural gas A by its composition."""
    told = values("flue", "--composition", "CH4=93.0,C2H6=3.5,C3H8=0.8,nC4H10=0.3,N2=1.5,CO2=0.9")
    assert told["ultimate_co2"] == "11.96"
    assert told["air"] == "9.749"


def test_co_is_told_air_free_and_as_a_ratio():
    """C052: 50 ppm at 7 % O2 is 75 ppm air-free."""
    assert values("flue", "--fuel", "ng", "--o2", "7", "--co", "50")["co_air_free"] == "75"


def test_a_pair_tells_the_fuel_it_implies():
    """C176: a propane pair under natural gas."""
    told = values("flue", "--fuel", "ng", "--o2", "5.1", "--co2", "10.4")
    assert told["implied_ultimate_co2"] == "13.73"


def test_temperatures_may_be_fahrenheit_and_altitude_feet():
    """C135: units are turned at the border; 104 degF is 40 Cel, 5279 ft is 1609 m."""
    told = values("flue", "--fuel", "methane", "--o2", "5", "--flue", "104 degF", "--altitude", "5279 ft")
    assert told["efficiency_net"] == "103.9"


def test_sources_stand_beside_each_line_when_asked():
    """Formula and source of every line."""
    shown = run("flue", "--fuel", "methane", "--o2", "5", "--flue", "120", "--sources").stdout
    assert "1 + (dry flue/air)·O2/(20.946 - O2)" in shown
    assert "source: IAPWS-IF97 region 4" in shown
    assert shown.count("source:") == len(values("flue", "--fuel", "methane", "--o2", "5", "--flue", "120"))


def test_an_oil_has_no_gas_lines():
    """Heating oil gets its balance and no Wobbe index."""
    told = values("flue", "--fuel", "heating oil", "--o2", "3", "--flue", "180")
    assert told["ultimate_co2"] == "15.44"
    assert "gross_wobbe" not in told


def test_gas_rate_in_metric_with_a_net_rating():
    """C117, C125: 0.088 m3 in 122 s at 10.76 kWh/m3."""
    told = values(
        "gasrate",
        "--volume",
        "0.088 m3",
        "--time",
        "122 s",
        "--heating-value",
        "10.76 kWh/m3",
        "--fuel",
        "methane",
        "--rated",
        "24 kW",
        "--rated-basis",
        "net",
    )
    assert (told["rate"], told["input_gross"]) == ("2.597", "27.94")
    assert float(told["over_rated"]) == pytest.approx(4.9, abs=0.2)


def test_gas_rate_in_imperial_corrected():
    """C116, C122: two feet in 48 s, 7 in w.c., 14.40 psia, 50 degF."""
    told = values(
        "gasrate",
        "--volume",
        "2 ft3",
        "--time",
        "48",
        "--heating-value",
        "1030 Btu/ft3",
        "--reference",
        "us",
        "--gauge",
        "7 inH2O",
        "--barometer",
        "14.40 psi",
        "--temperature",
        "50 degF",
    )
    assert told["rate_imperial"] == "150.0"
    assert float(told["factor"]) == pytest.approx(1.0143, abs=0.0003)
    assert float(told["input_gross_btu"]) == pytest.approx(154_500 * 1.0143, rel=0.001)


def test_gas_rate_without_a_heating_value_is_only_a_rate():
    """Nothing is guessed: no fuel and no heating value give no input."""
    assert set(values("gasrate", "--volume", "0.01", "--time", "16")) == {"rate", "rate_imperial", "factor"}


def test_settling_says_why_and_how_long():
    """An approach is told as such; a steady row as settled."""
    moving = json.loads(run("settling", "90:8.6", "120:9.0", "150:9.2", "--wait", "90", "--json").stdout)
    assert moving["settled"] == "no"
    assert int(moving["seconds to go"]) >= 30
    assert "settled: yes" in run("settling", "180:9.3", "210:9.3", "240:9.3").stdout


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_pictures_are_drawn(tmp_path, ending):
    """The chart and the settling curve come out as real files of their kind."""
    pytest.importorskip("matplotlib", reason="matplotlib is optional: handsfree[pictures]")
    chart, curve = tmp_path / f"chart.{ending}", tmp_path / f"curve.{ending}"
    run("flue", "--fuel", "ng", "--co2", "9.4", "--band", "9.0-9.7", "--picture", str(chart))
    run("settling", "100:8.9", "130:9.2", "180:9.3", "--wait", "90", "--picture", str(curve))
    beginnings = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}
    assert all(path.read_bytes().startswith(beginnings[ending]) for path in (chart, curve))


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("flue",), "give one fuel; --fuel NAME or --composition"),
        (("flue", "--fuel", "ng", "--composition", "CH4=100"), "give one fuel"),
        (("flue", "--fuel", "propain"), "no fuel is called 'propain'; nearest names: propane"),
        (
            ("flue", "--fuel", "methane", "--co2", "12"),
            "CO2 12 % cannot be on methane: its ultimate CO2 is 11.74 %",
        ),
        (("flue", "--fuel", "methane", "--o2", "21"), "O2 21 % cannot be"),
        (
            ("flue", "--fuel", "methane", "--o2", "5", "--co2", "120"),
            "CO2 120 % cannot be: it must be at most 100 %",
        ),
        (
            ("flue", "--fuel", "methane", "--o2", "5", "--flue", "hot"),
            "the flue temperature is not a number with a unit: 'hot'",
        ),
        (
            ("flue", "--fuel", "methane", "--o2", "5", "--flue", "40 kg"),
            "the flue temperature '40 kg' cannot be turned into degC",
        ),
        (("flue", "--fuel", "methane", "--o2", "5", "--flue", "900"), "gas temperature 900 Cel cannot be"),
        (("flue", "--fuel", "methane", "--co", "50"), "CO and flue temperature tell nothing without O2 or CO2"),
        (
            ("flue", "--fuel", "ng", "--co2", "9", "--band", "9", "--picture", "x.png"),
            "is not a plain decimal number",
        ),
        (
            ("flue", "--fuel", "ng", "--co2", "9", "--band", "9-8", "--picture", "x.png"),
            "the band '9-8' is not LOW-HIGH",
        ),
        (("flue", "--fuel", "ng", "--co2", "9", "--picture", "/nowhere/x.png"), "the picture cannot be written"),
        (("gasrate", "--volume", "0.1", "--time", "0"), "time 0 s cannot be: it must be above 0 s"),
        (("gasrate", "--volume", "2 banana", "--time", "9"), "the volume '2 banana' cannot be turned into m3"),
        (
            ("gasrate", "--volume", "1", "--time", "9", "--reference", "mars"),
            "there is no reference 'mars'; say metric",
        ),
        (
            ("gasrate", "--volume", "1", "--time", "9", "--rated", "24"),
            "cannot be compared without a heating value",
        ),
        (
            ("gasrate", "--volume", "1", "--time", "9", "--heating-value", "39", "--basis", "wet"),
            "there is no basis 'wet'",
        ),
        (
            (
                "gasrate",
                "--volume",
                "1",
                "--time",
                "99",
                "--heating-value",
                "39",
                "--rated",
                "24",
                "--rated-basis",
                "net",
            ),
            "a gross input cannot be compared with a net rating",
        ),
        (("gasrate", "--volume", "1", "--time", "9", "--barometer", "100", "--altitude", "5"), "not both"),
        (("settling", "90-9.3"), "'90-9.3' is not SECONDS:VALUE"),
        (("settling", "90:nine"), "the value is not a plain decimal number: 'nine'"),
        (("settling", "90:9.3", "--wait", "30"), "waits at least 90 s, not 30"),
    ],
)
def test_bad_input_is_one_clear_sentence(arguments, message):
    """Quantity, value and limit are named; never a traceback of ours, never NaN."""
    with pytest.raises(Problem) as caught:
        run(*arguments)
    assert message in str(caught.value)


def test_a_missing_library_for_pictures_is_told(monkeypatch, tmp_path):
    """Without matplotlib the numbers still work and the picture says what to install."""
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(Problem, match="a picture needs matplotlib; pip install 'handsfree\\[pictures\\]'"):
        run("flue", "--fuel", "ng", "--co2", "9", "--picture", str(tmp_path / "x.png"))


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        # NIST SP 811 (2008), appendix B.8, to the digits printed there.
        ("1.5", "kW", 1.5),
        ("100 000 Btu/h", "kW", None),
        ("100000 Btu/h", "kW", 29.30711),
        ("100 kBtu/hr", "kW", 29.30711),
        ("100 MBH", "kW", 29.30711),
        ("20 mbar", "kPa", 2.0),
        ("7 inH2O", "kPa", 1.743622),
        ("7 [in_i'H2O]", "kPa", 1.743622),
        ("100 mmH2O", "kPa", 0.980665),
        ("14.696 psi", "kPa", 101.3254),
        ("1 m3", "m3", 1.0),
        ("2 ft3", "m3", 0.0566337),
        ("2 ft^3", "m3", 0.0566337),
        ("2 ft**3", "m3", 0.0566337),
        ("5280 ft", "m", 1609.344),
        ("-10 degC", "Cel", -10.0),
        ("136 °F", "Cel", 57.7778),
        ("10.97 kWh/m3", "MJ/m3", 39.492),
        ("10.97 kW*h/m^3", "MJ/m3", 39.492),
        ("1030 Btu/ft3", "MJ/m3", 38.37672),
        ("1.5 min", "s", 90.0),
        ("2 minutes", "s", 120.0),
        ("20 kg", "kPa", None),
        ("20 mbar/", "kPa", None),
    ],
)
def test_quantities_are_read_with_their_units(text, unit, value):
    """A bare number is in the wanted unit; a thousands space is refused, not misread."""
    if value is None:
        with pytest.raises(Problem):
            quantity(text, unit, "input")
    else:
        assert quantity(text, unit, "input") == pytest.approx(value, rel=2e-6)
