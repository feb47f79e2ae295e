"""Cards in a column with the ways between them, as SVG text: what is altered beside them, written stops as words.

Plain text, so that no drawing package is needed. Measures are in pixels at 96 to the inch: 190 mm of A4 are 720.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

from handsfree.gates.outcomes import DROPPED_BACK, ENDS, EXHAUSTED, NO_ADVICE, NOT_ASKED, NOT_DONE, UNSETTLED
from handsfree.procedure.cards import Card, DrawnWay, card_of
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.dangers import Followed
from handsfree.procedure.proofs.search import explore

CARD, WAYS, LANE, GUTTER, LINE, GAP, TOP = 360, 210, 13, 9, 14, 14, 20
LETTERS, BOLD_LETTERS = CARD // 7 - 1, CARD // 8
"""Letters on a line of a card at 11 pixels, of the wide fonts too; those of bold lines are wider."""
ASIDE = frozenset({NOT_ASKED, NOT_DONE, EXHAUSTED, UNSETTLED, DROPPED_BACK, NO_ADVICE})
STYLE = """
text{font:11px 'DejaVu Sans',Verdana,sans-serif;fill:#222}.id{font-weight:700}.head{font:700 16px sans-serif}
.card rect{fill:#fff;stroke:#456;stroke-width:1.2}.firing rect{fill:#fff3e0}
.verdict rect,.branch rect,.entry rect{fill:#eef5ff}
.finish rect{fill:#e6f4e6}.stop rect{fill:#fde8e8;stroke:#a33}.walked rect{stroke-width:3;stroke:#06c}
.title{fill:#456}.prompt{font-style:italic}.band{fill:#064;font-weight:700}.thing{fill:#a33}.note{fill:#555}
.way{fill:none;stroke:#567;stroke-width:1.2}.aside{stroke-dasharray:4 3}.back{stroke:#b60}
.went{stroke:#06c;stroke-width:2.5}.out{fill:#345}.stopway{fill:#a33}.wentout{fill:#06c;font-weight:700}
.always{fill:#c55}.maybe{fill:#e9b8b8}.time{fill:#06c;font-weight:700}.far text{text-decoration:underline}
"""


@dataclass(frozen=True)
class Stay:
    """One stay at a gate of a recorded visit."""

    gate: str
    seconds: float
    outcome: str = ""


@dataclass(frozen=True)
class Walked:
    """What a recorded visit walked: the seconds at each gate, and the ways out of it."""

    seconds: Mapping[str, float] = field(default_factory=dict)
    ways: frozenset[tuple[str, str]] = frozenset()


def walked(stays: Iterable[Stay]) -> Walked:
    """Return what the stays of a visit add up to."""
    seconds: dict[str, float] = {}
    ways = set()
    for stay in stays:
        seconds[stay.gate] = seconds.get(stay.gate, 0) + stay.seconds
        ways.add((stay.gate, stay.outcome))
    return Walked(seconds, frozenset(ways))


@dataclass(frozen=True)
class Elsewhere:
    """Where a way leads that leaves the picture: what is written for it, whether to a stop, and a link."""

    text: str
    stops: bool = False
    link: str = ""


def spans(procedure: Procedure) -> dict[str, dict[str, bool]]:
    """Return thing -> gate -> whether it is altered there always (True) or on some visits only (False)."""
    found: dict[str, dict[str, bool]] = {}
    for name in procedure.things:
        states = explore(procedure, Followed(name)).states
        found[name] = {gate_id: seen == {True} for gate_id, seen in states.items() if True in seen}
    return found


def svg(procedure: Procedure, stays: Sequence[Stay] = ()) -> str:
    """Return the whole procedure as one SVG picture; with stays, the path walked and the time at each gate."""
    cards = [card_of(procedure, placed) for placed in procedure.gates.values()]
    cards.sort(key=lambda card: card.kind == "stop")
    title = f"{procedure.file.title}: {len(procedure.gates)} gates"
    return column(title, cards, altered_spans(procedure), Elsewhere, walked(stays))


def altered_spans(procedure: Procedure) -> dict[str, dict[str, bool]]:
    """Return the spans of what is altered, under the names as they are said."""
    return {f"{procedure.things[name].said} {procedure.things[name].altered}": states
            for name, states in spans(procedure).items()}  # fmt: skip


def written(card: Card) -> list[tuple[str, str]]:
    """Return the lines of a card as they are drawn, each with its sort; the first is the id."""
    lines = [("id", card.id), *((line.sort, line.text) for line in card.lines)]
    room = {"id": BOLD_LETTERS, "band": BOLD_LETTERS}
    return [(sort, part) for sort, text in lines for part in textwrap.wrap(text, room.get(sort, LETTERS)) or [""]]


def height(card: Card) -> int:
    """Return how high a card stands, with the gap below it."""
    ways = sum(len(_label(way, "x" * 14)) for way in card.ways)
    return max(LINE * len(written(card)) + 8, LINE * (ways + 1) + 6) + GAP


def _label(way: DrawnWay, to: str) -> list[str]:
    return textwrap.wrap(f"{way.said} → {to}", WAYS // 6 - 2, subsequent_indent="   ") or [""]


def column(
    title: str,
    cards: Sequence[Card],
    things: Mapping[str, Mapping[str, bool]],
    elsewhere: Callable[[str], Elsewhere],
    went: Walked | None = None,
) -> str:
    """Return cards below each other as one SVG picture."""
    return _Column(title, cards, things, elsewhere, went or Walked()).text()


class _Column:
    """Where everything goes."""

    def __init__(
        self,
        title: str,
        cards: Sequence[Card],
        things: Mapping[str, Mapping[str, bool]],
        elsewhere: Callable[[str], Elsewhere],
        went: Walked,
    ) -> None:
        self._title, self._cards, self._elsewhere, self._went = title, cards, elsewhere, went
        self._row = {card.id: number for number, card in enumerate(cards)}
        self._things = {
            name: states for name, states in things.items() if any(gate in self._row for gate in states)
        }
        self._top = TOP + 24 + (14 * len(self._things) if self._things else 0)
        self._y, below = {}, self._top
        for card in cards:
            self._y[card.id] = below
            below += height(card)
        self._bottom = below
        self._left = 6 + LANE * len(self._things) + 6
        self._lanes = self._gutters()
        self._labels = self._left + CARD + 8
        lanes = 1 + max(self._lanes.values(), default=0)
        self._width = max(720, self._labels + WAYS + GUTTER * lanes + 8)

    def text(self) -> str:
        name = escape(self._title)
        begin = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self._width}" height="{self._bottom}" '
            f'viewBox="0 0 {self._width} {self._bottom}" role="img" aria-label="{name}">'
        )
        parts = [
            begin,
            f"<style>{STYLE}</style><title>{name}</title>",
            f'<text x="6" y="{TOP}" class="head">{name}</text>',
            *self._spans(),
            *self._ways(),
            *(self._card(card) for card in self._cards),
            "</svg>",
        ]
        return "\n".join(parts) + "\n"

    def _spans(self) -> Iterator[str]:
        for number, (name, states) in enumerate(self._things.items()):
            x, y = 6 + LANE * number, TOP + 22 + 14 * number
            said = escape(name)
            yield f'<text class="thing" x="{x + LANE}" y="{y}">{said}</text>'
            yield f'<path class="way" d="M{x + 4} {y - 3}V{self._top - 4}" style="stroke:#c99"/>'
            for gate, always in states.items():
                if gate in self._row:
                    high = height(self._cards[self._row[gate]])
                    yield (
                        f'<rect class="{"always" if always else "maybe"}" x="{x}" y="{self._y[gate] - 4}" '
                        f'width="{LANE - 4}" height="{high}"><title>{said} at {escape(gate)}</title></rect>'
                    )

    def _jumps(self) -> list[tuple[str, str]]:
        return [
            (card.id, way.to)
            for card in self._cards
            for way in card.ways
            if way.to in self._row and self._row[way.to] != self._row[card.id] + 1
        ]

    def _gutters(self) -> dict[tuple[str, str], int]:
        """Give each jump the innermost gutter that no other uses over the same rows; same targets share."""
        taken: list[list[tuple[int, int, str]]] = []
        lanes = {}
        for gate, to in sorted(self._jumps(), key=lambda jump: abs(self._row[jump[0]] - self._row[jump[1]])):
            low, high = sorted((self._row[gate], self._row[to]))
            for lane, used in enumerate([*taken, []]):
                if all(high < a or b < low or to == other for a, b, other in used):
                    if lane == len(taken):
                        taken.append([])
                    taken[lane].append((low, high, to))
                    lanes[gate, to] = lane
                    break
        return lanes

    def _ways(self) -> Iterator[str]:
        for card in self._cards:
            y = self._y[card.id] + LINE + 4
            for way in card.ways:
                shown = self._shown(way)
                label = _label(way, shown.text)
                yield from self._label(card, way, shown, label, y)
                if (card.id, way.to) in self._lanes:
                    yield self._jump(card, way, label, y)
                elif way.to in self._row:
                    yield self._on(card, way)
                y += LINE * len(label)

    def _shown(self, way: DrawnWay) -> Elsewhere:
        if way.to in self._row:
            card = self._cards[self._row[way.to]]
            return Elsewhere(way.to, stops=card.kind == "stop", link=card.link or f"#{way.to}")
        return Elsewhere(way.to) if way.to in ENDS else self._elsewhere(way.to)

    def _label(self, card: Card, way: DrawnWay, shown: Elsewhere, label: list[str], y: int) -> Iterator[str]:
        went = any((card.id, outcome) in self._went.ways for outcome in way.outcomes)
        look = "wentout" if went else "stopway" if shown.stops else "out"
        for number, part in enumerate(label):
            text = f'<text class="{look}" x="{self._labels}" y="{y + LINE * number}">{escape(part)}</text>'
            far = "" if way.to in self._row else ' class="far"'
            yield f'<a href="{escape(shown.link)}"{far}>{text}</a>' if shown.link else text

    def _look(self, card: Card, way: DrawnWay) -> str:
        aside = " aside" if set(way.outcomes) <= ASIDE else ""
        back = " back" if self._row[way.to] <= self._row[card.id] else ""
        went = any((card.id, outcome) in self._went.ways for outcome in way.outcomes)
        return f"way{aside}{back}{' went' if went else ''}"

    def _jump(self, card: Card, way: DrawnWay, label: list[str], y: int) -> str:
        x = self._labels + WAYS + GUTTER * self._lanes[card.id, way.to]
        begin = self._labels + min(WAYS - 4, 7 * max(map(len, label)) + 4)
        start, end, edge = y - 4, self._y[way.to] + 5, self._left + CARD
        said = escape(f"{card.id}, {way.said}: to {way.to}")
        path = f"M{begin} {start}H{x}V{end}H{edge}m6 -4l-6 4l6 4"
        return f'<path class="{self._look(card, way)}" d="{path}"><title>{said}</title></path>'

    def _on(self, card: Card, way: DrawnWay) -> str:
        x, start, end = self._left + CARD - 24, self._y[card.id] + height(card) - GAP, self._y[way.to]
        return f'<path class="{self._look(card, way)}" d="M{x} {start}V{end}m-4 -6l4 6l4 -6"/>'

    def _card(self, card: Card) -> str:
        x, y = self._left, self._y[card.id]
        classes = ["card", card.kind, *(["firing"] if card.firing else [])]
        time = ""
        if card.id in self._went.seconds:
            classes.append("walked")
            said = clock(self._went.seconds[card.id])
            time = f'<text class="time" x="{x + CARD - 8}" y="{y + 14}" text-anchor="end">{said}</text>'
        lines = "".join(
            f'<text class="{sort}" x="{x + 7}" y="{y + 14 + LINE * number}">{escape(text)}</text>'
            for number, (sort, text) in enumerate(written(card))
        )
        drawn = (
            f'<g class="{" ".join(classes)}" id="{escape(card.id)}">'
            f'<rect x="{x}" y="{y}" width="{CARD}" height="{height(card) - GAP}" rx="4"/>{lines}{time}</g>'
        )
        return f'<a href="{escape(card.link)}">{drawn}</a>' if card.link else drawn


def clock(seconds: float) -> str:
    """Return seconds as minutes and seconds."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
