"""The lines of the terminal: whole, large enough, and readable without colour."""

from __future__ import annotations

import math
from functools import cache

import pytest
from rehearsed import at, places, say, shipped

from handsfree.glance.keypad_state import DOWN, KeypadState, press
from handsfree.glance.letters import PIXELS_HIGH, PIXELS_WIDE, SIZES, Size, big, drawn, largest, wrapped
from handsfree.glance.notes import Notes, noticed
from handsfree.glance.picture import Glance, Seal
from handsfree.glance.screen import lines, stale
from handsfree.glance.terminal import Painter, keys_in
from handsfree.glance.view import glance

TERMINALS = ((80, 24), (120, 40), (60, 20), (40, 12), (30, 6), (200, 60))


@cache
def pictures() -> tuple[Glance, ...]:
    """Return the picture at every question of the visit, on hold, stopped and alarmed."""
    visits = [kept for kept in places().values() if kept.state.gate]
    for words in ("stop work", "hold on", "banana"):
        visit = at("found-maximum")
        say(visit, words)
        visits.append(visit)
    seal = Seal(2771, "099 401")
    return tuple(
        glance(shipped(), one.state, one.state.now + 2_000, noticed(Notes(), one.events), seal=seal)
        for one in visits
    )


@pytest.mark.parametrize(("width", "height"), TERMINALS)
def test_every_picture_fills_the_terminal_exactly(width: int, height: int) -> None:
    """So many lines of so many cells, at every question of the visit."""
    assert len(pictures()) > 180
    for picture in pictures():
        found = lines(picture, width, height, phone=" Phone http://192.168.1.20:8750/#abc")
        assert len(found) == height
        assert {line.cell_len for line in found} == {width}


def test_at_80_by_24_everything_altered_is_on_the_screen() -> None:
    """Every name, however many there are in the shipped visit (ten at most), with its minutes."""
    most = 0
    for picture in pictures():
        text = " ".join(" ".join(line.plain for line in lines(picture, 80, 24)).split())
        shown = picture.altered.text
        most = max(most, int(shown.split()[0]) if shown[0].isdecimal() else 0)
        assert " ".join(shown.split()) in text
    assert most >= 9


def minutes_of_arc(rows: float, of_rows: int, screen_mm: float, distance_mm: float) -> float:
    """Return the visual angle of a letter so many rows high. Formula: NUREG-0700 rev. 2, 1.3.1-4."""
    height = screen_mm * rows / of_rows
    return height * 21_600 / (2 * math.pi * distance_mm)


def test_what_to_do_can_be_read_from_two_metres() -> None:
    """On a notebook's screen of 13.3 inch (165 mm high) full of 24 rows, at every question of the visit.

    NUREG-0700 rev. 2, 1.3.1-4: letters of at least 16 minutes of arc, 20 to 22 preferred for reading.
    """
    for picture in pictures():
        if picture.condition == "finished":
            continue
        found = [line.plain for line in lines(picture, 80, 24)]
        words = picture.headline.split()
        sizes = [size for size in SIZES if all(_stands(found, word, size) for word in words)]
        assert sizes, picture.headline
        rows = PIXELS_HIGH * sizes[0].down / 2
        assert minutes_of_arc(rows, 24, 165, 2_000) >= 22


def test_values_can_be_read_from_two_metres() -> None:
    """Every number of every read-back, drawn at least as high."""
    checked = 0
    for picture in pictures():
        found = [line.plain for line in lines(picture, 80, 24)]
        for value in picture.values:
            if value.value and value.stands == "read back":
                size = next((size for size in SIZES if _stands(found, value.value, size)), None)
                assert size is not None, value
                assert minutes_of_arc(PIXELS_HIGH * size.down / 2, 24, 165, 2_000) >= 22
                checked += 1
    assert checked > 30


def _stands(display: list[str], word: str, size: Size) -> bool:
    """Say whether a word stands in letters of a size, by comparing every one of its cells."""
    whole = big(word, size)
    rows = [row[: -(size.across // 2) or None] for row in whole[: len(whole) - size.down // 2]]
    for top in range(len(display) - len(rows) + 1):
        for left in range(len(display[top]) - len(rows[0]) + 1):
            if all(display[top + row][left : left + len(rows[0])] == rows[row] for row in range(len(rows))):
                return True
    return False


def test_letters_have_the_least_matrix_for_capitals_and_digits() -> None:
    """Five by seven (ISO 9241-3 as quoted in a maker's ergonomics guide), and no two look alike."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.,:;?!-+/%'\"()=_*°<>"
    assert (PIXELS_WIDE, PIXELS_HIGH) == (5, 7)
    drawn_once = {tuple(big(letter, SIZES[-1])) for letter in letters}
    assert len(drawn_once) == len(letters)
    for letter in letters:
        assert {len(row) for row in big(letter, SIZES[-1])} == {3}


def test_letters_of_every_size_are_the_same_pixels() -> None:
    """The smallest, four pixels to a cell, and the largest agree pixel by pixel."""
    quarter = dict(zip(" ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█", range(16), strict=True))

    def pixels(rows: list[str], size: Size) -> list[str]:
        whole = []
        for row in rows:
            upper = "".join("#" if quarter[c] & bit else "." for c in row for bit in (1, 2))
            lower = "".join("#" if quarter[c] & bit else "." for c in row for bit in (4, 8))
            whole += [upper, lower]
        return ["".join(row[:: size.across]) for row in whole[:: size.down]]

    for size in SIZES:
        assert pixels(big("CO2 9.3?", size), size) == pixels(big("CO2 9.3?", SIZES[-1]), SIZES[-1])


def test_text_that_fits_no_letters_still_stands_there() -> None:
    """In capitals of the terminal's own; a word too long for a line is cut, never dropped."""
    assert drawn("x" * 200, 78, 8) is None
    assert largest("wait " * 40, 40, 2)[0].startswith("WAIT WAIT")
    assert wrapped("one two", 3) == ["one", "two"]


def test_colour_is_never_alone() -> None:
    """Alarming lines carry a sign, the stopped state its word, the marked answer an arrow: without any style."""
    visit = at("found-maximum")
    say(visit, "banana")
    notes = noticed(Notes(), visit.events)
    keypad_state, _ = press(visit.plan, visit.state, KeypadState(), DOWN, visit.state.now)
    text = "\n".join(
        line.plain
        for line in lines(
            glance(visit.plan, visit.state, visit.state.now, notes, keypad_state=keypad_state), 80, 24
        )
    )
    assert "!! “banana” NOT UNDERSTOOD" in text
    assert "▶ over range" in text
    say(visit, "stop work")
    stopped = glance(visit.plan, visit.state, visit.state.now, noticed(Notes(), visit.events))
    found = [line.plain for line in lines(stopped, 80, 24)]
    assert found[0].startswith(" STOPPED  Stop work")
    assert any(all(_stands(found, word, size) for word in stopped.headline.split()) for size in SIZES)


def test_an_old_picture_is_covered_whole() -> None:
    """Nothing of what stood there before is left."""
    found = stale(("NO NEWS FOR 7 s", "The picture is old."), 80, 24)
    assert len(found) == 24
    assert any(_stands([line.plain for line in found], "NEWS", size) for size in SIZES)


def test_only_lines_that_changed_are_sent() -> None:
    """Nothing for the same picture, one line for one line: no flicker."""
    painter = Painter(colours=True)
    first = lines(pictures()[0], 80, 24)
    assert painter.sent(first).count("\x1b[1;1H") == 1
    assert painter.sent(first) == ""
    second = [*first[:5], lines(pictures()[1], 80, 24)[20], *first[6:]]
    sent = painter.sent(second)
    assert sent.count("H") >= 1
    assert "\x1b[6;1H" in sent
    assert "\x1b[5;1H" not in sent
    assert "\x1b[2J" not in sent


@pytest.mark.parametrize(
    ("sent", "keys"),
    [
        ("\x1b[A\x1bOB\x1b[C\x1b[D", ["up", "down", "right", "left"]),
        (" \r\n\x1b[6~\x1bOM", ["space", *["enter"] * 4]),
        ("\x1b[5~\x7f", ["left", "left"]),
        ("93", ["9", "3"]),
        ("\x1b[1;5C\x1b[200~\x1bOP\x01\x07", []),
        ("x", ["word x"]),
    ],
)
def test_keys_of_a_terminal(sent: str, keys: list[str]) -> None:
    """Arrows in both modes, space, enter, page keys, digits; sequences of other keys are nothing."""
    found, rest = keys_in(sent)
    assert (found, rest) == (keys, "")


def test_a_sequence_torn_in_two_is_put_together() -> None:
    """As a slow line sends it."""
    assert keys_in("9\x1b[") == (["9"], "\x1b[")
    assert keys_in("\x1b[" + "B") == (["down"], "")
