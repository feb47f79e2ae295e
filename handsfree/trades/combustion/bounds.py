"""The one way this package refuses an impossible number: quantity, value and limit in one sentence."""

from __future__ import annotations

import math

from handsfree.problem import Problem


def require(
    quantity: str,
    value: float,
    unit: str,
    *,
    above: float | None = None,
    least: float | None = None,
    below: float | None = None,
    most: float | None = None,
) -> float:
    """Return the value, or raise Problem when it is not a number or lies beyond a limit.

    `above` and `below` are limits that the value must not touch; `least` and `most` may be touched.
    """
    number = float(value)
    if not math.isfinite(number):
        raise Problem(f"{quantity} is not a number: {value}")
    beyond = (
        (above is not None and number <= above, f"must be above {above:g}" if above is not None else ""),
        (least is not None and number < least, f"must be at least {least:g}" if least is not None else ""),
        (below is not None and number >= below, f"must be below {below:g}" if below is not None else ""),
        (most is not None and number > most, f"must be at most {most:g}" if most is not None else ""),
    )
    for broken, limit in beyond:
        if broken:
            raise Problem(
                f"{quantity} {_plain(value)} {unit}".rstrip() + f" cannot be: it {limit} {unit}".rstrip()
            )
    return number


def _plain(value: float) -> str:
    return f"{float(value):.6g}"
