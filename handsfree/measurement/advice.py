"""Which adjuster to turn, which way and how far: learned from the moves made this visit, damped and bounded.

A secant with uncertainty: each adjuster has a gain (points per eighth of a turn) with a normal prior; every
move made updates it. The step divides the distance to the target by the gain one standard deviation above
its mean (two before the first move), so that what is not yet known makes the step smaller. The maker's map
says which adjuster belongs to which rate and which way is richer; without it there is no advice. Nothing is
advised while anything blocks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from handsfree.measurement.distributions import rounded
from handsfree.measurement.verdict import Band
from handsfree.problem import Problem

Why = Literal[
    "blocked",
    "no-limit",
    "other-rate",
    "sheet",
    "within",
    "no-map",
    "too-far",
    "too-coarse",
    "too-many",
    "against",
    "hardly",
    "further",
]
"""Why there is no turn, by name: the words for it stand in the language's file."""

Direction = Literal["clockwise", "counter-clockwise"]

FIRST_GAIN = 0.25
"""Points per eighth before anything is known: common practice, no source."""
_GAIN_DEVIATION = 0.15
_LEAST_GAIN = 0.04
_READING_DEVIATION = 0.06
"""Standard deviation of a change between two settled readings at 0.1 resolution."""
_PLAY = 0.3
"""Lost motion of a screw turned on in the same direction, in eighths; doubled when it was turned back."""
_GAIN_STEP = Decimal("0.001")
_STEP = Decimal("0.1")
_ROOM = Decimal("0.2")
"""Points; a narrower window at minimum is hit by luck only, an eighth of a turn being about as much."""


@dataclass(frozen=True)
class AdjusterData:
    """What the maker's manual says of the adjuster for one rate."""

    richer: Direction
    """The way, facing the screw, that raises the value."""
    most_eighths: int
    """Largest single step the maker allows."""


@dataclass(frozen=True)
class AdjusterMove:
    """A turn that was made and called, with the settled readings at one rate before and after it."""

    adjuster: str
    """The rate the adjuster belongs to."""
    eighths: int
    """Eighths of a turn; clockwise is positive."""
    rate: str
    """The rate at which both readings were taken."""
    before: Decimal
    after: Decimal


@dataclass(frozen=True)
class Task:
    """What adjustment is to reach: bands by rate, and the band of maximum minus minimum where there is one."""

    bands: Mapping[str, Band]
    adjusters: Mapping[str, AdjusterData]
    """By the rate each one sets, as far as the maker's sheet gives them."""
    between: Band | None = None
    most_moves: int = 8
    """After so many moves of one adjuster the tool says to stop and get help."""
    most_travel: int = 16
    """Net eighths from where an adjuster was found, either way."""


@dataclass(frozen=True)
class Advice:
    """One turn to make."""

    adjuster: str
    direction: Direction
    eighths: int
    reason: str
    target: Decimal
    gain: Decimal
    """Points per eighth, as learned so far; positive towards richer."""
    gain_deviation: Decimal


@dataclass(frozen=True)
class Refusal:
    """No turn, and why: `reason` for the record, `why` and its blanks for whoever says it."""

    kind: Literal["nothing to adjust", "other rate first", "blocked", "get help"]
    reason: str
    why: Why
    about: str | Decimal = ""
    """The rate, the value or the number of moves that it is about."""


def advise(
    rate: str,
    current: Mapping[str, Decimal],
    task: Task,
    moves: Sequence[AdjusterMove],
    blocked: Sequence[str] = (),
) -> Advice | Refusal:
    """Return the next turn at a rate, or why there is none.

    `current` holds the settled value at each rate read since the last move ("maximum", "minimum"); `blocked`
    holds the reasons, in words, why nothing may be adjusted now: an open stop limit, gas pressure outside the
    plate, a maker who forbids it. Raises Problem when the rate was not read.
    """
    if blocked:
        return Refusal("blocked", blocked[0], "blocked")
    if rate not in task.bands:
        return Refusal("blocked", f"no limit loaded for the {rate} rate: see the manual", "no-limit", rate)
    if rate not in current:
        raise Problem(f"no settled reading at the {rate} rate to adjust from")
    aim = aim_for(rate, current, task)
    if aim is None and rate == "minimum":
        maximum = current.get("maximum", "")
        return Refusal(
            "other rate first", f"no setting at minimum fits maximum at {maximum}", "other-rate", maximum
        )
    if aim is None:
        return Refusal("get help", "the maker's bands and the rule between the rates cannot both be met", "sheet")
    if aim.holds(current[rate]):
        return Refusal("nothing to adjust", f"{current[rate]} is within {aim}", "within", current[rate])
    return _turn(rate, current[rate], aim, task, [move for move in moves if move.adjuster == rate])


def aim_for(rate: str, current: Mapping[str, Decimal], task: Task) -> Band | None:
    """Return the band to reach at a rate: the maker's, cut down to what the rule between the rates allows.

    At minimum the present value at maximum binds. At maximum only what minimum could ever reach binds; it is
    cut down further, to leave minimum some room, once minimum was read and cannot be met as things stand.
    None at minimum means that maximum must move first; None at maximum that no setting meets the sheet.
    """
    if task.between is None or rate not in {"maximum", "minimum"} or "minimum" not in task.bands:
        return task.bands[rate]
    roomy = _maximum_leaving(_ROOM, task)
    window = _minimum_beside(current["maximum"], task) if "maximum" in current else task.bands["minimum"]
    known = current.get("minimum")
    stuck = known is not None and (window is None or (not window.holds(known) and _width(window) < _ROOM))
    if rate == "maximum":
        return roomy if stuck and roomy is not None else _maximum_leaving(_STEP, task)
    if stuck and roomy is not None and "maximum" in current and not roomy.holds(current["maximum"]):
        return None
    return window


def _minimum_beside(maximum: Decimal, task: Task) -> Band | None:
    """Return what minimum may be while maximum stays as it is."""
    assert task.between is not None
    low, high = task.between.low, task.between.high
    return _within(
        task.bands["minimum"], None if high is None else maximum - high, None if low is None else maximum - low
    )


def _maximum_leaving(room: Decimal, task: Task) -> Band | None:
    """Return what maximum may be so that minimum has a window of at least so many points."""
    assert task.between is not None
    minimum, between = task.bands["minimum"], task.between
    low = None if minimum.low is None or between.low is None else minimum.low + between.low + room
    high = None if minimum.high is None or between.high is None else minimum.high + between.high - room
    return _within(task.bands["maximum"], low, high)


def _within(band: Band, low: Decimal | None, high: Decimal | None) -> Band | None:
    """Return the band cut down to the edges, or None when nothing is left."""
    lows = [edge for edge in (band.low, low) if edge is not None]
    highs = [edge for edge in (band.high, high) if edge is not None]
    if lows and highs and max(lows) >= min(highs):
        return None
    return Band(max(lows, default=None), min(highs, default=None), band.source)


def _width(band: Band) -> Decimal:
    return Decimal("Infinity") if band.low is None or band.high is None else band.high - band.low


def learned_gain(adjuster: AdjusterData, made: Sequence[AdjusterMove], rate: str) -> tuple[Decimal, Decimal]:
    """Return the gain towards richer and its standard deviation, in points per eighth, at a rate.

    Normal prior, normal errors; a move that turns the screw back is trusted less, because of its play.
    """
    precision, weighted = 1 / _GAIN_DEVIATION**2, FIRST_GAIN / _GAIN_DEVIATION**2
    last = 0
    for move in made:
        eighths = _towards_richer(adjuster, move.eighths)
        turned_back = last * eighths < 0
        last = eighths
        if move.rate != rate:
            continue
        lost = _PLAY * (2 if turned_back else 1) * FIRST_GAIN
        variance = _READING_DEVIATION**2 + lost**2
        precision += eighths**2 / variance
        weighted += eighths * float(move.after - move.before) / variance
    return rounded(weighted / precision, _GAIN_STEP), rounded(1 / math.sqrt(precision), _GAIN_STEP)


def _turn(rate: str, value: Decimal, aim: Band, task: Task, made: Sequence[AdjusterMove]) -> Advice | Refusal:
    adjuster = task.adjusters.get(rate)
    if adjuster is None:
        reason = f"the sheet does not say which adjuster sets the {rate} rate, or which way"
        return Refusal("blocked", reason, "no-map", rate)
    target = _target(value, aim)
    distance = target - value
    gain, deviation = learned_gain(adjuster, made, rate)
    cautious = max(gain + (deviation if made else 2 * deviation), Decimal(repr(_LEAST_GAIN)))
    wanted = max(1, int(abs(distance) / cautious + Decimal("0.5")))
    eighths = min(wanted, adjuster.most_eighths)
    richer = distance > 0
    travel = sum(_towards_richer(adjuster, move.eighths) for move in made) + (eighths if richer else -eighths)
    trouble = _trouble(rate, made, aim, task, adjuster)
    if trouble is None and abs(travel) > task.most_travel:
        reason = f"more than {task.most_travel} eighths from where it was found"
        trouble = Refusal("get help", reason, "too-far", Decimal(task.most_travel))
    if trouble is None and len(made) >= 2 and gain - deviation > 2 * abs(distance):
        trouble = Refusal("get help", "one eighth of a turn is too coarse to come nearer", "too-coarse")
    if trouble is not None:
        return trouble
    reason = f"{value} is {'below' if richer else 'above'} {aim}"
    if eighths < wanted:
        reason += f"; the maker allows {adjuster.most_eighths} eighths at a time"
    direction = adjuster.richer if richer else _opposite(adjuster.richer)
    return Advice(rate, direction, eighths, reason, target, gain, deviation)


def _trouble(
    rate: str, made: Sequence[AdjusterMove], aim: Band, task: Task, adjuster: AdjusterData
) -> Refusal | None:
    """Say why turning on would be wrong, or None."""
    if len(made) >= task.most_moves:
        reason = f"{len(made)} moves made at the {rate} rate and still outside {aim}"
        return Refusal("get help", reason, "too-many", Decimal(len(made)))
    here = [move for move in made if move.rate == rate]
    gain, deviation = learned_gain(adjuster, made, rate)
    if gain + deviation < 0:
        reason = "the reading moves against the turns: wrong adjuster, wrong way, or something else is moving"
        return Refusal("get help", reason, "against")
    if len(here) >= 3 and gain < Decimal(repr(_LEAST_GAIN)):
        return Refusal("get help", "the reading hardly answers the turns", "hardly")
    if len(here) >= 2 and all(_off(move.after, aim) > _off(move.before, aim) for move in here[-2:]):
        return Refusal("get help", "two turns running took the reading further away", "further")
    return None


def _target(value: Decimal, aim: Band) -> Decimal:
    """Return the middle of a closed band, or for an open one a quarter of a point inside its edge."""
    if aim.low is not None and aim.high is not None:
        return (aim.low + aim.high) / 2
    inside = Decimal("0.25")
    return aim.low + inside if aim.low is not None else (aim.high or value) - inside


def _off(value: Decimal, aim: Band) -> Decimal:
    """Return how far a value lies outside."""
    if aim.low is not None and value < aim.low:
        return aim.low - value
    return value - aim.high if aim.high is not None and value > aim.high else Decimal(0)


def _towards_richer(adjuster: AdjusterData, clockwise_eighths: int) -> int:
    return clockwise_eighths if adjuster.richer == "clockwise" else -clockwise_eighths


def _opposite(direction: Direction) -> Direction:
    return "counter-clockwise" if direction == "clockwise" else "clockwise"
