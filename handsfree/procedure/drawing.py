"""A procedure as a picture: gates downwards, what is altered as spans beside them, written stops aside.

The picture is plain SVG text, so that no drawing package is needed; the same is written as Mermaid text for
pages that render that. Both can carry the path that a visit really walked, with the time at each gate.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from handsfree.gates.outcomes import DONE, DROPPED_BACK, ENDS, EXHAUSTED, FINISHED, NO_ADVICE, NOT_DONE, UNSETTLED
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.dangers import Followed
from handsfree.procedure.proofs.search import explore

ROW, BOX_WIDTH, BOX_HEIGHT, LANE, TOP = 44, 330, 30, 14, 150
ASIDE = frozenset({NOT_DONE, EXHAUSTED, UNSETTLED, DROPPED_BACK, NO_ADVICE})
_STYLE = """
text{font:12px sans-serif;fill:#222}.id{font-weight:600}.small{font-size:10px;fill:#555}
.gate rect{fill:#fff;stroke:#456;stroke-width:1.2}.firing rect{fill:#fff3e0}.verdict rect{fill:#eef5ff}
.finish rect{fill:#e6f4e6}.stop rect{fill:#fde8e8;stroke:#a33}.walked rect{stroke-width:3;stroke:#06c}
.way{fill:none;stroke:#789;stroke-width:1.1}.aside{stroke-dasharray:4 3}.back{stroke:#b60}
.trail{fill:none;stroke:#06c;stroke-width:2;opacity:.6}.stopway{fill:#a33;font-size:10px}
.always{fill:#c55}.maybe{fill:#e9b8b8}.time{fill:#06c;font-weight:600}
"""


@dataclass(frozen=True)
class Stay:
    """One stay at a gate of a recorded visit."""

    gate: str
    seconds: float
    outcome: str = ""


def spans(procedure: Procedure) -> dict[str, dict[str, bool]]:
    """Return thing -> gate -> whether it is altered there always (True) or on some visits only (False)."""
    found: dict[str, dict[str, bool]] = {}
    for name in procedure.things:
        states = explore(procedure, Followed(name)).states
        found[name] = {gate_id: seen == {True} for gate_id, seen in states.items() if True in seen}
    return found


def svg(procedure: Procedure, stays: Sequence[Stay] = ()) -> str:
    """Return the picture as SVG text; with stays, the path walked and the seconds at each gate."""
    return _Picture(procedure, stays).text()


class _Picture:
    """Where everything goes: one row for each gate that is not a written stop."""

    def __init__(self, procedure: Procedure, stays: Sequence[Stay]) -> None:
        self._procedure = procedure
        self._stays = stays
        self._main = [g for g, placed in procedure.gates.items() if placed.gate.effects.end != "stop"]
        self._stops = [g for g, placed in procedure.gates.items() if placed.gate.effects.end == "stop"]
        self._row = {gate_id: number for number, gate_id in enumerate(self._main)}
        self._left = 24 + LANE * max(1, len(procedure.things)) + 16
        self._right = self._left + BOX_WIDTH
        self._seconds: dict[str, float] = {}
        for stay in stays:
            self._seconds[stay.gate] = self._seconds.get(stay.gate, 0) + stay.seconds

    def text(self) -> str:
        """Return the whole picture."""
        lanes = self._gutters()
        aside = self._right + 40 + 10 * (1 + max(lanes.values(), default=0))
        width = aside + 520
        height = TOP + ROW * max(len(self._main), len(self._stops) + 1) + 40
        name = escape(f"{self._procedure.file.title}: {len(self._procedure.gates)} gates")
        parts = [
            (
                f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
                f'viewBox="0 0 {width} {height}" role="img" aria-label="{name}">'
            ),
            f"<style>{_STYLE}</style><title>{name}</title>",
            f'<text x="24" y="24" class="id" font-size="16">{name}</text>',
            *self._spans(),
            *self._transitions(lanes),
            *self._trail(),
            *(self._box(gate_id) for gate_id in self._main),
            *self._asides(aside),
            "</svg>",
        ]
        return "\n".join(parts) + "\n"

    def _y(self, gate_id: str) -> int:
        return TOP + ROW * self._row[gate_id]

    def _spans(self) -> Iterable[str]:
        for number, (name, states) in enumerate(spans(self._procedure).items()):
            x = 24 + LANE * number
            said = escape(self._procedure.things[name].said)
            yield f'<text class="small" transform="translate({x + 9},{TOP - 8}) rotate(-60)">{said}</text>'
            for gate_id, always in states.items():
                if gate_id in self._row:
                    state = f"{said} {self._procedure.things[name].altered} at {escape(gate_id)}"
                    yield (
                        f'<rect class="{"always" if always else "maybe"}" x="{x}" y="{self._y(gate_id) - 7}" '
                        f'width="{LANE - 4}" height="{ROW}"><title>{state}</title></rect>'
                    )

    def _jumps(self) -> list[tuple[str, str, str]]:
        found = []
        for gate_id in self._main:
            for outcome, to in self._procedure.gates[gate_id].transitions.items():
                if to in self._row and self._row[to] != self._row[gate_id] + 1:
                    found.append((gate_id, outcome, to))
        return found

    def _gutters(self) -> dict[tuple[str, str, str], int]:
        """Give each jump the innermost gutter that no other jump uses over the same rows; same targets share."""
        taken: list[list[tuple[int, int, str]]] = []
        lanes = {}
        for jump in sorted(self._jumps(), key=lambda j: abs(self._row[j[0]] - self._row[j[2]])):
            low, high = sorted((self._row[jump[0]], self._row[jump[2]]))
            for lane, used in enumerate([*taken, []]):
                if all(high < a or b < low or to == jump[2] for a, b, to in used):
                    if lane == len(taken):
                        taken.append([])
                    taken[lane].append((low, high, jump[2]))
                    lanes[jump] = lane
                    break
        return lanes

    def _transitions(self, lanes: dict[tuple[str, str, str], int]) -> Iterable[str]:
        for gate_id in self._main:
            for to in dict.fromkeys(self._procedure.gates[gate_id].transitions.values()):
                if to in self._row and self._row[to] == self._row[gate_id] + 1:
                    x, y = self._right - 24, self._y(gate_id) + BOX_HEIGHT
                    yield f'<path class="way" d="M{x} {y}V{self._y(to)}m-4 -6l4 6l4 -6"/>'
        for (gate_id, outcome, to), lane in lanes.items():
            x = self._right + 18 + 10 * lane
            start, end = self._y(gate_id) + 8, self._y(to) + 20
            kind = "way" + (" aside" if outcome in ASIDE else "") + (" back" if end < start else "")
            said = escape(f"{gate_id}, {outcome}: to {to}")
            path = f"M{self._right} {start}H{x}V{end}H{self._right}m6 -4l-6 4l6 4"
            yield f'<path class="{kind}" d="{path}"><title>{said}</title></path>'

    def _trail(self) -> Iterable[str]:
        for before, after in zip(self._stays, self._stays[1:], strict=False):
            if before.gate in self._row and after.gate in self._row:
                x, start, end = self._left + 8, self._y(before.gate) + 15, self._y(after.gate) + 15
                bend = -14 if end < start else 0
                yield f'<path class="trail" d="M{x} {start}C{x + bend} {start} {x + bend} {end} {x} {end}"/>'

    def _box(self, gate_id: str) -> str:
        placed = self._procedure.gates[gate_id]
        x, y = self._left, self._y(gate_id)
        classes = ["gate", placed.gate.kind, *(["firing"] if placed.gate.firing else [])]
        time = ""
        if gate_id in self._seconds:
            classes.append("walked")
            said = clock(self._seconds[gate_id])
            time = f'<text class="time" x="{x + BOX_WIDTH - 8}" y="{y + 12}" text-anchor="end">{said}</text>'
        stops = [f"{outcome}: {to}" for outcome, to in placed.transitions.items() if to in self._stops]
        stop = f'<text class="stopway" x="{x + 6}" y="{y + 41}">{escape("; ".join(stops))}</text>' if stops else ""
        under = escape(" · ".join(filter(None, (placed.gate.title, placed.gate.drawing().does))))
        hover = escape(placed.gate.texts.get("prompt", placed.gate.title))
        return (
            f'<g class="{" ".join(classes)}" id="{escape(gate_id)}"><title>{hover}</title>'
            f'<rect x="{x}" y="{y}" width="{BOX_WIDTH}" height="{BOX_HEIGHT}" rx="4"/>'
            f'<text class="id" x="{x + 6}" y="{y + 12}">{escape(gate_id)}</text>'
            f'<text class="small" x="{x + 6}" y="{y + 25}">{under}</text>{time}{stop}</g>'
        )

    def _asides(self, x: int) -> Iterable[str]:
        yield f'<text x="{x}" y="{TOP - 10}" class="id">Stops written into the procedure</text>'
        for number, gate_id in enumerate(self._stops):
            y = TOP + ROW * number
            gate = self._procedure.gates[gate_id].gate
            walked = " walked" if gate_id in self._seconds else ""
            yield (
                f'<g class="stop{walked}" id="{escape(gate_id)}">'
                f'<rect x="{x}" y="{y}" width="470" height="{BOX_HEIGHT}" rx="14"/>'
                f'<text class="id" x="{x + 12}" y="{y + 12}">{escape(gate_id)}</text>'
                f'<text class="small" x="{x + 12}" y="{y + 25}">{escape(gate.texts["script"])}</text></g>'
            )
        y = TOP + ROW * len(self._stops) + 16
        said = "Stop and hazard phrases lead to make-safe from every gate."
        yield f'<text class="small" x="{x}" y="{y}">{said}</text>'


def clock(seconds: float) -> str:
    """Return seconds as minutes and seconds."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def mermaid(procedure: Procedure, stays: Sequence[Stay] = ()) -> str:
    """Return the procedure as a Mermaid flowchart."""
    seconds: dict[str, float] = {}
    for stay in stays:
        seconds[stay.gate] = seconds.get(stay.gate, 0) + stay.seconds
    names = {gate_id: f"g{number}" for number, gate_id in enumerate(procedure.gates)}
    names |= {end: end for end in ENDS}
    lines = ["flowchart TD"]
    for gate_id, placed in procedure.gates.items():
        label = "<br/>".join(
            _quoted(part) for part in (gate_id, placed.gate.title, placed.gate.drawing().does) if part
        )
        if gate_id in seconds:
            label += f"<br/>{clock(seconds[gate_id])}"
        opened, closed = placed.gate.drawing().brackets
        lines.append(f'  {names[gate_id]}{opened}"{label}"{closed}')
    lines.append(f'  {FINISHED}(["finished"])')
    for gate_id, placed in procedure.gates.items():
        for outcome, to in placed.transitions.items():
            arrow = "-.->" if outcome in ASIDE else "-->"
            said = "" if outcome == DONE else f'|"{_quoted(outcome)}"|'
            lines.append(f"  {names[gate_id]} {arrow}{said} {names[to]}")
    lines.append("  classDef stop fill:#fde8e8,stroke:#a33")
    lines.append("  classDef walked stroke:#06c,stroke-width:3px")
    stops = [names[g] for g, placed in procedure.gates.items() if placed.gate.effects.end == "stop"]
    if stops:
        lines.append(f"  class {','.join(stops)} stop")
    walked = [names[g] for g in seconds if g in names]
    if walked:
        lines.append(f"  class {','.join(walked)} walked")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return re.sub(r'["<>&#;|]', " ", text)
