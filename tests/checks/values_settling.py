"""Check values: the settled reading. Group 12 of the list, and a maker's wait from group 15."""

from __future__ import annotations

import math
from decimal import Decimal

from check import of

from handsfree.measurement import response, settling, uncertainty

D = Decimal
CHECKS = []
FIRST_ORDER = "first-order response, computed apart"
TAU = 50 / math.log(10)
CHECKS += [
    of(
        "C164",
        "T90 50 s: residual after 90 s, %",
        lambda: response.Approach(0, 0, TAU, 100, 0).value_at(90),
        1.58,
        0.01,
        FIRST_ORDER,
    ),
    of(
        "C164",
        "T90 50 s: time to 1 %",
        lambda: response.Approach(0, 0, TAU, 100, 0).seconds_until(1, 0),
        100.0,
        0.05,
        FIRST_ORDER,
    ),
    of(
        "C165",
        "CO cell T90 90 s, 300 to 30 ppm, at 90 s",
        lambda: response.Approach(30, 0, 90 / math.log(10), 270, 0).value_at(90),
        57,
        0.1,
        FIRST_ORDER,
    ),
]

SERIES = {
    "C166": ("8.6 8.9 9.1 9.2 9.3 9.3 9.3 9.4 9.4 9.4", 9.190, 0.4545, 0.1983),
    "C167": ("9.4 9.4 9.3 9.4 9.4 9.4 9.5 9.4 9.4 9.4", 9.400, 0.0291, 0.0724),
    "C168": ("9.2 9.2 9.3 9.3 9.3 9.4 9.4 9.4 9.5 9.5", 9.350, 0.2073, 0.0436),
    "C169": ("9.4 9.4 9.4 9.4 9.4 9.4 9.4 9.4 9.4 9.4", 9.400, 0.0, 0.0),
}


def samples(text, start=0.0):
    return [settling.Sample(start + 10 * place, D(value)) for place, value in enumerate(text.split())]


for number, (text, mean, slope, half_width) in SERIES.items():
    for name, value, factor in (("mean", mean, 1), ("slope", slope, 60), ("half_width", half_width, 60)):
        CHECKS.append(
            of(
                number,
                f"{text}: {name}",
                lambda t=text, n=name, k=factor: k * getattr(settling.line_through(samples(t)), n),
                value,
                0.001,
                "scipy 1.17.1, least squares, 95 %",
            )
        )
CHECKS += [
    *(
        of(
            number,
            f"{SERIES[number][0]}: settled (1) or not (0)",
            lambda t=SERIES[number][0]: (
                settling.judge_settling(
                    samples(t, 90), settling.SettleRule(D("0.1"), D("0.1"), minimum_wait=90)
                ).settled
            ),
            value,
            0,
            "the list's own judgement",
        )
        for number, value in (("C166", 0), ("C167", 1), ("C168", 0), ("C169", 1))
    ),
    of(
        "C169",
        "resolution 0.1 as uncertainty",
        lambda: uncertainty.of_resolution(0.1),
        0.029,
        0.0005,
        "JCGM 100 F.2.2.1",
    ),
    of(
        "C170",
        "approach series, last four: mean",
        lambda: settling.line_through(samples("9.3 9.4 9.4 9.4")).mean,
        9.375,
        0.001,
        "arithmetic",
    ),
    of(
        "C190",
        "default wait after a change, s",
        lambda: settling.SettleRule(D("0.1"), D("0.1")).minimum_wait,
        180,
        0,
        "a maker asks at least three minutes",
    ),
]
