"""The picture as lines of a terminal: big letters for what to do and for the values, words for every colour."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.cells import cell_len, set_cell_size
from rich.text import Text

from handsfree.glance.letters import SIZES, Size, big, drawn, largest
from handsfree.glance.picture import Glance, Key, LabelledLine, ShownValue
from handsfree.glance.view import clock

PLAIN, QUIET = "bright_white on black", "white on black"
HEAD, ALARM, HOLD, MARKED = (
    "bold black on bright_white",
    "bold bright_white on red",
    "bold black on yellow",
    "reverse bold",
)
WARNING = "!! "
LEAST_MIDDLE = 6
"""Lines for what to do and the values: on a low terminal the facts below give way first."""
LABEL_WIDTH = 8
LEAST_BAR, LEAST_HEADLINE = 16, 4
MOST_ALTERED = 6
"""Lines for what is still altered on a stopped visit: its order is drawn in what they leave."""
ROOMY = 30
"""Lines from which a stopped visit shows more than its order and what is still altered."""


def lines(picture: Glance, width: int, height: int, *, phone: str = "") -> list[Text]:
    """Return exactly `height` lines of exactly `width` cells."""
    top = [*_head(picture, width)]
    keys = [*_offers(picture, width), *_keys(picture, width)]
    if phone:
        keys.append(_cells(phone, width, QUIET))
    spare = height - 24
    facts = list(_facts(picture, width, spare=spare))
    if picture.condition == "stopped":
        facts = (
            list(_fact(picture.altered, width, most=max(MOST_ALTERED, spare // 6))) if height < ROOMY else facts
        )
    room = height - len(top) - len(keys) - LEAST_MIDDLE
    bottom = [*facts[: max(0, room)], *keys]
    middle = _middle(picture, width, height - len(top) - len(bottom))
    found = [*top, *middle, *bottom][:height]
    return found + [_cells("", width, PLAIN)] * (height - len(found))


def stale(words: tuple[str, str], width: int, height: int) -> list[Text]:
    """Return what covers the picture when nothing new has come for so long."""
    rows = [*largest(words[0], width - 2, height // 2), "", words[1]]
    above = max(0, (height - len(rows)) // 2)
    covered = [""] * above + rows
    return [_cells(f" {row}", width, ALARM) for row in covered + [""] * (height - len(covered))][:height]


def plain(rows: Sequence[str], width: int, height: int) -> list[Text]:
    """Return rows as they are, for what is shown before the first picture."""
    return [_cells(row, width, PLAIN) for row in [*rows, *[""] * height][:height]]


def _cells(text: str, width: int, style: str) -> Text:
    return Text(set_cell_size(text, width), style=style, no_wrap=True)


def _style(picture: Glance) -> str:
    return {"stopped": ALARM, "closed": ALARM, "incomplete": ALARM, "held": HOLD}.get(picture.condition, PLAIN)


def _head(picture: Glance, width: int) -> Iterator[Text]:
    if picture.condition == "stopped":  # the order itself needs the room
        yield _cells(f" {picture.banner}  {picture.remark}", width, HEAD)
        return
    yield _cells(f" {picture.gate}", width, HEAD)
    if picture.banner:
        style = ALARM if picture.condition == "running" else _style(picture)
        rows = largest(picture.banner, width - 6, 4)
        for row in rows:
            inner = set_cell_size(row, width - 6)
            yield _cells(f"██ {inner} ██" if style == ALARM else f"   {inner}", width, style)


def _middle(picture: Glance, width: int, height: int) -> list[Text]:
    """Return what to do in letters as large as fit, above the values, the set and the time that is left."""
    below = list(_time(picture, width))
    remark = "" if picture.condition == "stopped" else picture.remark  # it stands in the head
    room = height - len(below) - (1 if remark else 0)
    values = (
        _entry(picture, width, max(4, room // 2))
        or _values(picture.values, width, room - LEAST_HEADLINE)
        or _answers(picture, width, 4 if room >= 2 * LEAST_HEADLINE else 1)
    )
    if values and drawn(picture.headline, width - 2, room - len(values)) is None:
        values = _entry(picture, width, 4) or _values(picture.values, width, 5) or _answers(picture, width, 1)
        whole, beside = (drawn(picture.headline, width - 2, rest) for rest in (room, room - len(values)))
        if whole is not None and beside is None and _only_answers(picture):
            values = []  # what to do comes first; the answers are in the line of the arrows, too
    rows = largest(picture.headline, width - 2, room - len(values))
    headline = [_cells(f" {row}", width, _style(picture)) for row in rows]
    if remark:
        headline.append(_cells(f" {remark}", width, "bold " + _style(picture).removeprefix("bold ")))
    found = [*headline, *values, *below]
    spare = height - len(found)
    blank = _cells("", width, _style(picture) if picture.condition == "stopped" else PLAIN)
    above = min(1, max(0, spare))  # the largest letters stand off the head a little
    return [*[blank] * above, *headline, *[blank] * (max(0, spare) - above), *values, *below]


def _only_answers(picture: Glance) -> bool:
    return not picture.values and not picture.typing and picture.chosen is None


def _answers(picture: Glance, width: int, height: int) -> list[Text]:
    """Return what can be said to an open choice."""
    if not picture.answers:
        return []
    said = " / ".join(picture.offers[: picture.answers])
    return [_cells(f" {row}", width, "bold " + PLAIN) for row in largest(said, width - 2, height)]


def _entry(picture: Glance, width: int, height: int) -> list[Text]:
    """Return what is typed or marked, as enter would send it."""
    entry = picture.typing or (picture.offers[picture.chosen] if picture.chosen is not None else "")
    return [_cells(f"  {row}", width, MARKED) for row in largest(f"> {entry}", width - 4, height)] if entry else []


def _values(values: Sequence[ShownValue], width: int, height: int) -> list[Text]:
    """Return the values side by side in digits as large as fit, each with its name, unit and standing below."""
    if not values:
        return []
    height -= 2 if any(value.band for value in values) else 1
    column = width // len(values)
    shown = [value.value or ("_" if value.at_hand else "") for value in values]
    size = next((one for one in SIZES if _fits(shown, one, column - 2, height)), None)
    if size is None:
        rows = [[set_cell_size(f" {text.upper()}", column) for text in shown]]
    else:
        drawn = [big(text, size) if text else [""] * size.rows for text in shown]
        rows = [
            [set_cell_size(f" {cells[row]}", column) for cells in drawn]
            for row in range(size.rows - size.down // 2)
        ]  # without the space below letters
    found = [_row(cells, values, width) for cells in rows]
    names = [f" {'>' if one.at_hand else ''}{one.name} {one.unit} {one.stands}" for one in values]
    found.append(_row([set_cell_size(name, column) for name in names], values, width, bold=True))
    if any(one.band for one in values):
        bands = [f" {WARNING if one.outside else ''}{one.band}" for one in values]
        found.append(_row([set_cell_size(band, column) for band in bands], values, width, outside=True))
    return found


def _fits(texts: Sequence[str], size: Size, width: int, height: int) -> bool:
    return size.rows <= height and all(size.columns * len(text) <= width for text in texts)


def _row(
    cells: Sequence[str], values: Sequence[ShownValue], width: int, *, bold: bool = False, outside: bool = False
) -> Text:
    line = Text(style=PLAIN, no_wrap=True)
    for cell, value in zip(cells, values, strict=True):
        marked = (bold and value.at_hand) or (outside and value.outside)
        line.append(cell, style=MARKED if marked else "bold")
    line.append(" " * (width - line.cell_len))
    return line


def _time(picture: Glance, width: int) -> Iterator[Text]:
    """Yield the time that runs out as a bar, with what was taken so far beside it."""
    bar, taken = picture.bar, f" {picture.taken}"
    if bar is None:
        if picture.taken:
            yield _cells(taken, width, PLAIN)
        return
    label = f" {bar.label} {clock(bar.left_ms)} "
    together = cell_len(label) + cell_len(taken) + LEAST_BAR <= width
    room = max(1, width - cell_len(label) - 1 - (cell_len(taken) if together else 0))
    gone = round(bar.gone * room)
    line = f"{label}{'█' * gone}{'░' * (room - gone)}"
    yield _cells(line + taken if together else line, width, "bold " + PLAIN)
    if picture.taken and not together:
        yield _cells(taken, width, PLAIN)


def _facts(picture: Glance, width: int, *, spare: int) -> Iterator[Text]:
    facts = (picture.heard, picture.verdict, picture.altered, picture.sound, picture.seal)
    if picture.condition == "stopped":
        facts = (picture.altered, picture.heard, picture.sound, picture.seal, picture.verdict)
    for fact in facts:
        yield from _fact(fact, width, most=3 + max(0, spare // 6) if fact is picture.altered else 1)
        if spare >= 10:
            yield _cells("", width, PLAIN)


def _fact(fact: LabelledLine, width: int, *, most: int) -> Iterator[Text]:
    """Yield a labelled fact in at most so many lines; what does not fit is said to be more."""
    rows = _folded(fact.text, width - LABEL_WIDTH - 2 - (len(WARNING) if fact.alarming else 0), most)
    for number, row in enumerate(rows):
        line = Text(no_wrap=True, style=ALARM if fact.alarming else PLAIN)
        line.append(set_cell_size(f" {fact.label}" if number == 0 else "", LABEL_WIDTH + 1), style="bold")
        line.append((WARNING if fact.alarming else "") + row)
        line.append(" " * max(0, width - line.cell_len))
        yield line


def _folded(text: str, width: int, most: int) -> list[str]:
    rows = [""]
    for word in text.split(" "):
        if rows[-1] and cell_len(f"{rows[-1]} {word}") > width:
            rows.append("")
        rows[-1] = f"{rows[-1]} {word}" if rows[-1] else word
    if len(rows) > most:
        rows = rows[:most]
        rows[-1] = set_cell_size(rows[-1], max(0, min(cell_len(rows[-1]), width - 2))) + " …"
    return [set_cell_size(row, min(cell_len(row), width)) for row in rows]


def _offers(picture: Glance, width: int) -> Iterator[Text]:
    """Yield the answers that the arrows mark, those around the marked one."""
    if not picture.offers:
        return
    line = Text(" ↑↓ ", style="bold " + PLAIN, no_wrap=True)
    first = 0 if picture.chosen is None else max(0, picture.chosen - 1)
    ordinary = len(picture.offers) - len(picture.hazards)  # hazards only once the mark is near them
    for number in range(first, len(picture.offers) if first >= ordinary - 1 and picture.chosen else ordinary):
        marked = number == picture.chosen
        item = f" {'▶' if marked else number + 1} {picture.offers[number]} "
        if line.cell_len + cell_len(item) > width - 2:
            line.append("…")
            break
        line.append(item, style=MARKED if marked else "")
    line.append(" " * max(0, width - line.cell_len))
    yield line


def _keys(picture: Glance, width: int) -> Iterator[Text]:
    line = Text(style=HEAD, no_wrap=True)
    for key in picture.keys:
        if line.cell_len + cell_len(_key(key)) > width and line.cell_len:
            line.append(" " * (width - line.cell_len))
            yield line
            line = Text(style=HEAD, no_wrap=True)
        line.append(set_cell_size(_key(key), min(cell_len(_key(key)), width)))
    line.append(" " * (width - line.cell_len))
    yield line


def _key(key: Key) -> str:
    return f" [{key.key}] {key.does} "
