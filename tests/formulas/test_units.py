"""Dimensional analysis when a formula is loaded: what is like may be added, and points are no differences."""

from __future__ import annotations

import pytest

from handsfree.problem import Problem
from tests.formulas.documents import formula, formulas

PRESSURE = "p: {quantity: pressure, is: gauge}"
AIR = "air: {value: 1013.25, unit: mbar, is: absolute, source: ISO 2533}"
WARM = "t: {quantity: temperature}"
FAHRENHEIT = "f: {quantity: other_temperature}"
LENGTH = "l: {quantity: length}"
TIME = "s: {quantity: time}"
TABLE = "r: {table: saturation, fact: appliance.refrigerant}"


def text(*inputs: str) -> str:
    return "\n".join(inputs)


@pytest.mark.parametrize(
    ("value", "unit", "inputs"),
    [
        ("t - f", "K", text(WARM, FAHRENHEIT)),  # point - point = difference
        ("t + 5 'K'", "Cel", text(WARM)),  # point + difference = point
        ("f - 9 '[degR]'", "[degF]", text(FAHRENHEIT)),
        ("max(t, f)", "Cel", text(WARM, FAHRENHEIT)),
        ("(t - 0 '[degF]') * 2", "K", text(WARM)),
        ("l / s", "m/s", text(LENGTH, TIME)),
        ("l * 1 'kN'", "kJ", text(LENGTH)),
        ("sqrt(l ^ 2 + (3 'm') ^ 2)", "m", text(LENGTH)),
        ("l ^ 3 / 1 'h'", "L/min", text(LENGTH)),
        ("thermodynamic(t) / 288.15 'K'", "1", text(WARM)),
        ("dew(r, absolute(p, air))", "Cel", text(PRESSURE, AIR, TABLE)),
        ("dew_pressure(r, t) / bubble_pressure(r, t)", "1", text(WARM, TABLE)),
        ("look_up(r, density, t)", "kg/m3", text(WARM, TABLE)),
    ],
)
def test_like_goes_with_like(value: str, unit: str, inputs: str) -> None:
    assert formula(value, unit, inputs).unit == unit


def test_a_gauge_pressure_stays_one_and_an_absolute_one_is_made_of_it() -> None:
    assert formula("p + 1 'kPa'", "bar", PRESSURE, more="    is: gauge\n").kind.scale == "gauge"
    made = formula("absolute(p, air)", "bar", text(PRESSURE, AIR), more="    is: absolute\n")
    assert made.kind.scale == "absolute"
    back = formula("gauge(2 * air, air)", "bar", AIR, more="    is: gauge\n")
    assert back.kind.scale == "gauge"


@pytest.mark.parametrize(
    ("value", "unit", "inputs", "says"),
    [
        ("t + f", "Cel", text(WARM, FAHRENHEIT), "at 't + f': a temperature and a temperature cannot be added"),
        (
            "t - p",
            "K",
            text(WARM, PRESSURE),
            "at 't - p': a gauge pressure cannot be subtracted from a temperature",
        ),
        ("l + s", "m", text(LENGTH, TIME), "at 'l + s': a length cannot be added to a time"),
        ("2 * t", "Cel", WARM, "at '2 * t': a temperature has an arbitrary zero"),
        ("-t", "Cel", WARM, "at '-t': a temperature has an arbitrary zero"),
        ("p / air", "1", text(PRESSURE, AIR), "at 'p / air': a gauge pressure has an arbitrary zero"),
        ("p - air", "bar", text(PRESSURE, AIR), "an absolute pressure cannot be subtracted from a gauge pressure"),
        (
            "dew(r, p)",
            "Cel",
            text(PRESSURE, TABLE),
            "at 'p': dew(…) needs an absolute pressure, and this is a gauge",
        ),
        (
            "dew(r, l)",
            "Cel",
            text(LENGTH, TABLE),
            "at 'l': dew(…) needs an absolute pressure, and this is a length",
        ),
        ("absolute(air, air)", "bar", AIR, "absolute(…) turns a gauge pressure, and the first is an absolute"),
        ("absolute(p, 1 'bar')", "bar", PRESSURE, "needs the absolute pressure of the air"),
        ("exp(l)", "1", LENGTH, "at 'exp(l)': a plain number is needed, and this is a length"),
        ("sqrt(l)", "m", LENGTH, "at 'sqrt(l)': a length has no square root with a unit"),
        ("min(l, s)", "m", text(LENGTH, TIME), "at 'min(l, s)': a time cannot be compared with a length"),
        ("l * 2 'furlong'", "m", LENGTH, "'furlong' is no unit that is known here"),
        (
            "l * s",
            "m",
            text(LENGTH, TIME),
            "the formula gives something in m.s, but its unit 'm' stands for a length",
        ),
        (
            "t - f",
            "Cel",
            text(WARM, FAHRENHEIT),
            "gives a difference of temperatures, but its unit 'Cel' stands for",
        ),
        ("t + 1 'K'", "K", WARM, "gives a temperature, but its unit 'K' stands for a difference of temperatures"),
        ("l + x", "m", LENGTH, "at 'x': no input has this name; the inputs are l"),
        ("foo(l)", "m", LENGTH, "at 'foo': no function has this name"),
        ("abs(l, l)", "m", LENGTH, "at 'abs': it takes 1 argument, not 2"),
        ("r + l", "m", text(LENGTH, TABLE), "at 'r': this is a table of 'saturation'"),
        ("dew(l, l)", "Cel", LENGTH, "at 'l': dew(…) needs a table first"),
        ("look_up(r, colour, t)", "1", text(WARM, TABLE), "has no column 'colour'; it has bubble, dew, density"),
        ("look_back(r, density, 1 'kg/m3')", "Cel", TABLE, "'density' neither rises nor falls all the way"),
        ("l * 1", "m", text(LENGTH, TIME), "the formula does not use 's'"),
        ("l", "m", "l: {quantity: girth}", "there is no quantity 'girth'"),
        ("l", "m", "l: {fact: job.size}", "a fact and a value need a unit"),
        ("l", "m", "l: {value: 3, unit: m}", "a value needs a source"),
        ("l", "m", "l: {quantity: length, is: gauge}", "only a pressure is gauge, and 'm' is a length"),
        ("l", "m", "l: {quantity: length, is: big}", "'amount', 'point', 'absolute' or 'gauge' (found 'big')"),
        ("l", "m", "l: {table: steam, fact: job.fluid}", "there are no tables 'steam'; there are saturation"),
        ("l", "m", "l: {calculation: other}", "no calculation 'other' stands above this one"),
        ("l", "meter", LENGTH, "'meter' is no unit that is known here"),
        ("'l", "m", LENGTH, "calculations.yaml"),
    ],
)
def test_what_does_not_go_together_is_refused_with_file_and_line(
    value: str, unit: str, inputs: str, says: str
) -> None:
    with pytest.raises(Problem) as caught:
        formula(value, unit, inputs)
    sentence = caught.value.sentence()
    assert sentence.startswith("calculations.yaml:")
    assert sentence.split(":")[1].isdigit()
    assert says in sentence
    assert "\n" not in sentence


def test_the_line_is_that_of_the_words_at_fault() -> None:
    with pytest.raises(Problem) as caught:
        formula("l + s", "m", text(LENGTH, TIME))
    assert caught.value.where == "calculations.yaml:8:12"
    with pytest.raises(Problem) as caught:
        formula("l", "m", text(LENGTH, "x: {quantity: girth}"))
    assert caught.value.where == "calculations.yaml:6:21"


def test_a_source_is_required() -> None:
    lacking = "calculations:\n  it: {says: a, inputs: {l: {quantity: length}}, unit: m, value: l, decimals: 1}\n"
    with pytest.raises(Problem, match=r"source: Field required"):
        formulas(lacking)


def test_a_formula_put_in_whole_brings_its_inputs_and_means_one_thing() -> None:
    both = """
calculations:
  first:
    {says: a, inputs: {l: {quantity: length}, s: {quantity: time}}, unit: m/s, value: l / s, decimals: 1,
    source: a}
  second:
    {says: b, inputs: {v: {calculation: first}, l: {quantity: length}}, unit: s, value: l / v, decimals: 1,
    source: b}
"""
    assert [item.name for item in formulas(both)["second"].inputs] == ["l", "s"]
    assert formulas(both)["second"].text == "l / v; v = l / s"
    with pytest.raises(Problem, match="'l' means two things here"):
        formulas(both.replace("l: {quantity: length}}, unit: s,", "l: {fact: job.size, unit: m}}, unit: s,"))
