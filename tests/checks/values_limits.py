"""Check values: stop limits (group 4 of the list) and makers' bands as data (group 15)."""

from __future__ import annotations

from decimal import Decimal

from check import of

from handsfree.measurement import verdict
from handsfree.trades.combustion import flue_gas as fg
from handsfree.trades.combustion import fuels, stop_limits

D = Decimal
CHECKS = []


def stops(**readings):
    known = stop_limits.SafetyReadings(**readings)
    return [stop.name for stop in stop_limits.open_stops(known, fuels.FUELS["natural gas"])]


def limit(name):
    return stop_limits.DEFAULTS[name].value


CHECKS += [
    of(
        "C061",
        "air duct: least O2",
        lambda: limit("air-duct-o2"),
        20.6,
        0,
        "UK commissioning flow-chart by a maker",
    ),
    of(
        "C061",
        "air duct: most CO2",
        lambda: limit("air-duct-co2"),
        0.2,
        0,
        "UK commissioning flow-chart by a maker",
    ),
    of("ambient", "ambient CO to search at", lambda: limit("ambient-co-search"), 10, 0, "testing guideline"),
    of(
        "C051",
        "O2 under which the mixture may be rich",
        lambda: limit("flue-o2"),
        2,
        0,
        "computed: CO2 repeats rich",
    ),
    of("C059", "most CO/CO2", lambda: limit("co-ratio"), 0.008, 0, "trade text: above 0.008 major overhaul"),
    of("C064", "most air-free CO", lambda: limit("air-free-co"), 400, 0, "trade journal; ANSI Z21 series"),
    of("C064", "rising CO from", lambda: limit("rising-co"), 100, 0, "trade journal: 100 to 400 and rising"),
    of("C064", "ambient CO to leave at", lambda: limit("ambient-co-evacuate"), 100, 0, "trade journal"),
    of(
        "C065",
        "ambient CO to stop at",
        lambda: limit("ambient-co"),
        35,
        0,
        "NIOSH 35 ppm; US weatherization work specification",
    ),
    of(
        "C064",
        "CO 420 at O2 0 opens a stop",
        lambda: "air-free-co" in stops(co=D(420), o2=D(0)),
        1,
        0,
        "trade journal",
    ),
    of(
        "C064",
        "CO 120 steady at O2 4.4 opens none",
        lambda: len(stops(co=D(120), o2=D("4.4"))),
        0,
        0,
        "trade journal",
    ),
    of(
        "C064",
        "CO 120 and rising opens one",
        lambda: "rising-co" in stops(co=D(120), co_rising=True),
        1,
        0,
        "trade journal",
    ),
    of(
        "C066",
        "the room stops below an alarm's 70 ppm",
        lambda: limit("ambient-co") < 70,
        1,
        0,
        "UL 2034: 70 ppm for one to four hours; an alarm is no substitute for a meter",
    ),
]


def in_band(value, low, high):
    return verdict.judge(D(value), verdict.Band(D(low), D(high), "a maker's manual, excerpt"), 0.0).passes


MANUAL = "maker's manual, excerpt: data, not a recommendation"
CHECKS += [
    of("C185", "8.8 in 8.5 to 9.2", lambda: in_band("8.8", "8.5", "9.2"), 1, 0, MANUAL),
    of("C185", "CO 151 over 150", lambda: in_band("151", "0", "150"), 0, 0, MANUAL),
    of("C186", "edge 9.7 in 9.0 to 9.7", lambda: in_band("9.7", "9.0", "9.7"), 1, 0, MANUAL),
    of(
        "C186",
        "minimum richer than maximum breaks 'min at most max'",
        lambda: (
            verdict.judge_difference(
                verdict.Measured(D("9.1"), 0.15, 0.03),
                verdict.Measured(D("9.4"), 0.15, 0.03),
                verdict.Band(D(0), None, MANUAL),
            ).passes
        ),
        0,
        0,
        MANUAL,
    ),
    of(
        "C187",
        "8.9 and 9.5 keep a rule of 0.6 richer at low fire",
        lambda: (
            verdict.judge_difference(
                verdict.Measured(D("8.9"), 0.15, 0.03),
                verdict.Measured(D("9.5"), 0.15, 0.03),
                verdict.Band(D("-1.1"), D("-0.1"), MANUAL),
            ).passes
        ),
        1,
        0,
        MANUAL,
    ),
    of("C187", "the same pair breaks ± 0.2", lambda: in_band("-0.6", "-0.2", "0.2"), 0, 0, MANUAL),
    of("C188", "9.5 in 8 to 9.5", lambda: in_band("9.5", "8", "9.5"), 1, 0, MANUAL),
    of(
        "C189",
        "O2 of natural gas at CO2 8.5",
        lambda: fg.oxygen_from_carbon_dioxide(fuels.FUELS["natural gas"], 8.5),
        6.2,
        0.25,
        "power-burner guide; its gas is not stated",
    ),
    of(
        "C189",
        "O2 of natural gas at CO2 10.0",
        lambda: fg.oxygen_from_carbon_dioxide(fuels.FUELS["natural gas"], 10.0),
        3.6,
        0.3,
        "power-burner guide; its gas is not stated",
    ),
]
