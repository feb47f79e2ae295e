"""Check values: uncertainty, guard bands, decision. Group 11 of the list."""

from __future__ import annotations

from decimal import Decimal

from check import of

from handsfree.measurement import distributions, uncertainty, verdict
from handsfree.trades.combustion import flue_gas as fg
from handsfree.trades.combustion import fuels, losses

D = Decimal
BAND = verdict.Band(D("8.9"), D("9.9"), "as in the list of check values")
JCGM = "JCGM 106:2012, normal errors, flat prior, computed apart"


def conforms(value, u, band=BAND):
    return verdict.conformity_probability(value, band, u)


def accepted(edge, probability, u):
    """The outermost value below (or above) the middle of the band that conforms with a probability."""
    outside, inside = (BAND.low, D("9.4")) if edge == "low" else (BAND.high, D("9.4"))
    for _ in range(30):
        middle = (outside + inside) / 2
        outside, inside = (outside, middle) if conforms(float(middle), u) >= probability else (middle, inside)
    return inside


CHECKS = [
    of(
        "C145",
        "9.85 in 8.9 to 9.9, U 0.3",
        lambda: conforms(9.85, uncertainty.expanded(0.3)),
        0.6306,
        0.0005,
        JCGM,
    ),
    of(
        "C146",
        "the same, 0.3 as limits",
        lambda: conforms(9.85, uncertainty.rectangular(0.3)),
        0.6136,
        0.0005,
        JCGM,
    ),
    of("C148", "9.40, u 0.15", lambda: conforms(9.40, 0.15), 0.99914, 0.0005, JCGM),
    of("C148", "9.40, u 0.1732", lambda: conforms(9.40, uncertainty.rectangular(0.3)), 0.99611, 0.0005, JCGM),
    # A guard band of U = 2 u leaves 97.725 % (ILAC-G8:09/2019, table 1: false acceptance below 2.5 %).
    of("C149", "acceptance from, w = U", lambda: accepted("low", 0.97725, 0.15), 9.20, 0.001, "ILAC-G8:09/2019"),
    of("C149", "acceptance to, w = U", lambda: accepted("high", 0.97725, 0.15), 9.60, 0.001, "ILAC-G8:09/2019"),
    *(
        of(
            "C150",
            f"acceptance at 95 % one-sided, u {u:.4f}, {edge}",
            lambda u=u, e=edge: accepted(e, 0.95, u),
            value,
            0.001,
            "ISO 14253-1:2017",
        )
        for u, edge, value in (
            (0.15, "low", 9.147),
            (0.15, "high", 9.653),
            (0.1732, "low", 9.185),
            (0.1732, "high", 9.615),
        )
    ),
    of(
        "C151",
        "a reading on the limit",
        lambda: conforms(9.9, 0.05),
        0.5,
        0.0005,
        "ILAC-G8:09/2019 4.2.1: up to 50 % false acceptance",
    ),
    of("C152", "9.95, u 0.15", lambda: conforms(9.95, 0.15), 0.369, 0.001, JCGM),
]

BETWEEN = verdict.Band(D("-0.2"), D("0.2"), "as in the list of check values")


def difference(correlation):
    first, second = verdict.Measured(D("9.40"), 0.15, 0.0), verdict.Measured(D("9.15"), 0.15, 0.0)
    return verdict.judge_difference(first, second, BETWEEN, correlation=correlation)


GUM = "JCGM 100, computed apart"
CHECKS += [
    of(
        "C153",
        "0.25 apart, independent: u",
        lambda: uncertainty.of_difference(0.15, 0.15, 0.0),
        0.212,
        0.0005,
        GUM,
    ),
    of("C153", "0.25 apart, independent: probability", lambda: difference(0.0).probability, 0.390, 0.002, GUM),
    of(
        "C154",
        "0.25 apart, correlated 0.9: u",
        lambda: uncertainty.of_difference(0.15, 0.15, 0.9),
        0.0671,
        0.0001,
        GUM,
    ),
    of("C154", "0.25 apart, correlated 0.9: probability", lambda: difference(0.9).probability, 0.228, 0.002, GUM),
    of(
        "C154",
        "the correlation taken where none is given",
        lambda: (
            verdict.judge_difference(
                verdict.Measured(D("9.40"), 0.15, 0.0), verdict.Measured(D("9.15"), 0.15, 0.0), BETWEEN
            ).probability
        ),
        0.228,
        0.0005,
        GUM,
    ),
    of(
        "C155",
        "two displays of 0.1 apart",
        lambda: uncertainty.combined(uncertainty.of_resolution(0.1), uncertainty.of_resolution(0.1)),
        0.0408,
        0.0001,
        GUM,
    ),
    of(
        "C156",
        "CO2 computed from O2, CO2max 11.8, u(O2) 0.15",
        lambda: uncertainty.propagated(lambda o2: 11.8 * (1 - o2 / 20.946), [4.2], [0.15]),
        0.0845,
        0.0005,
        GUM,
    ),
    of(
        "C157",
        "the same with CO2max ± 0.15",
        lambda: uncertainty.propagated(
            lambda o2, top: top * (1 - o2 / 20.946), [4.2, 11.8], [0.15, uncertainty.rectangular(0.15)]
        ),
        0.1092,
        0.0005,
        GUM,
    ),
    of(
        "C158",
        "CO 80 ± 20 at O2 4.5 ± 0.3: U of air-free",
        lambda: 2 * uncertainty.propagated(fg.air_free_carbon_monoxide, [80, 4.5], [10, 0.15]),
        25.6,
        0.2,
        "uncertainties 3.2.3",
    ),
    of(
        "C159",
        "indirect loss at 60 ± 2, 20 ± 1 Cel, O2 4.5 ± 0.3: U",
        lambda: (
            2
            * uncertainty.propagated(
                lambda flue, air, o2: losses.siegert_loss(fuels.FUELS["natural gas"], flue, air, o2),
                [60, 20, 4.5],
                [1, 0.5, 0.15],
            )
        ),
        0.113,
        0.003,
        GUM,
    ),
    *(
        of(
            "C160",
            f"Student t 0.975, {freedom} degrees of freedom",
            lambda v=freedom: distributions.student_quantile(0.95, v),
            value,
            0.0006,
            "scipy 1.17.1 and printed tables",
        )
        for freedom, value in ((2, 4.303), (4, 2.776), (5, 2.571), (9, 2.262), (18, 2.101), (29, 2.045))
    ),
]
