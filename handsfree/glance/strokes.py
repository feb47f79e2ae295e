"""A signature as it is drawn with a finger: strokes, each a line through points of a box of 1000 by 400."""

from __future__ import annotations

import json

WIDE, HIGH = 1000, 400
MOST_STROKES, MOST_POINTS = 64, 2000
LONGEST_DRAWING = 32_000
"""Bytes; a drawing with the most points takes less."""

Strokes = list[list[tuple[int, int]]]


def strokes_in(data: bytes) -> Strokes:
    """Return the strokes of a drawing, JSON lists of x, y, x, y, …; ValueError when it is none, or empty."""
    found = json.loads(data) if len(data) <= LONGEST_DRAWING else None
    if not isinstance(found, list) or not 0 < len(found) <= MOST_STROKES:
        raise ValueError("no strokes")
    strokes = [_points(stroke) for stroke in found]
    if sum(map(len, strokes)) > MOST_POINTS:
        raise ValueError("more points than a signature has")
    return strokes


def drawing_of(strokes: Strokes) -> bytes:
    """Return strokes as they are kept."""
    return json.dumps([[value for point in stroke for value in point] for stroke in strokes]).encode()


def _points(stroke: object) -> list[tuple[int, int]]:
    if not isinstance(stroke, list) or len(stroke) < 4 or len(stroke) % 2:
        raise ValueError("a stroke goes through two points or more")
    if not all(type(value) is int for value in stroke):
        raise ValueError("points are whole numbers")
    points = list(zip(stroke[::2], stroke[1::2], strict=True))
    if not all(0 <= x <= WIDE and 0 <= y <= HIGH for x, y in points):
        raise ValueError("a point lies outside")
    return points
