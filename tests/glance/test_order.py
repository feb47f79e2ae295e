"""What a stop, a choice and a value look like on a terminal of 80 by 24: the order first, bands, the answers."""

from __future__ import annotations

import pytest
from rehearsed import at
from told import Told

from handsfree.glance import screen
from handsfree.glance.letters import drawn, largest
from handsfree.glance.picture import Glance


def rows(picture: Glance) -> list[str]:
    return [line.plain for line in screen.lines(picture, 80, 24)]


@pytest.mark.parametrize("words", ["gas smell", "feel ill", "stop work"])
def test_the_order_of_a_stop_is_the_biggest_thing_with_what_is_altered_below_it(words: str) -> None:
    """In large letters over at least half of the screen; no internal name stands anywhere."""
    told = Told(at("found-maximum"))
    told.live.saw(told.rehearsal.say(words))
    told.turn()
    picture = told.live.picture()
    shown = rows(picture)
    assert picture.condition == "stopped"
    (height, order) = next(
        (room, found) for room in range(24, 11, -1) if (found := drawn(picture.headline, 78, room)) and
        " " + found[0].rstrip() in [row.rstrip() for row in shown]
    )  # fmt: skip
    assert height >= 12
    first = [row.rstrip() for row in shown].index(" " + order[0].rstrip())
    assert [row.rstrip() for row in shown[first : first + len(order)]] == [(" " + row).rstrip() for row in order]
    altered = next(number for number, row in enumerate(shown) if row.startswith(f" {picture.altered.label}"))
    assert altered >= first + len(order)
    assert not [row for row in shown if "-smell" in row or "stop-work" in row or "feel-ill" in row]


def test_band_and_aim_stand_beside_a_value_and_what_is_outside_is_marked() -> None:
    """The demo's boiler: the maker's band of CO2 at maximum, and 12 % outside of it."""
    told = Told(at("found-maximum"))
    told.turn()
    band = told.plan.sheets.fuel.co2["maximum"]  # type: ignore[attr-defined]
    (co2,) = [value for value in told.live.picture().values if value.name == "CO2"]
    assert co2.band.startswith(f"{band.low}–{band.high}, aim ")  # noqa: RUF001
    assert not co2.outside
    for key in "120":
        told.live.press(key)
        told.turn()
    (co2,) = [value for value in told.live.picture().values if value.name == "CO2"]
    assert co2.outside
    assert any(f"!! {co2.band}" in row for row in rows(told.live.picture()))


def test_the_answers_to_a_choice_stand_on_the_screen() -> None:
    """All of them whole, in large letters or else in capitals; and nothing else among them."""
    told = Told(at("heat-exchanger"))
    told.turn()
    picture = told.live.picture()
    answers = picture.offers[: picture.answers]
    assert answers[0] == "in order"
    assert "faulty" in answers
    assert "say again" not in answers
    expected = [(" " + row).rstrip() for row in largest(" / ".join(answers), 78, 4)]
    shown = [row.rstrip() for row in rows(picture)]
    first = shown.index(expected[0])
    assert shown[first : first + len(expected)] == expected


def test_a_limit_is_told_without_a_name_or_a_code_of_the_record() -> None:
    """900 ppm at O2 4.4 is 1,140 ppm air-free (900 * 20.9 / (20.9 - 4.4)): over 400, the general ceiling."""
    told = Told(at("found-maximum"))
    told.live.saw(told.rehearsal.say("nine three four four nine zero zero maximum"))
    told.live.saw(told.rehearsal.say("confirmed"))
    picture = told.live.picture()
    assert picture.remark == "CO, air-free 1140.0 ppm, above 400 ppm"
    assert "meter pressure" not in picture.taken, "what was read before elsewhere stopped nothing"


def test_the_answers_to_a_step_after_the_order_are_keys_and_the_order_has_none() -> None:
    """On the phone the answers of `answers` stand large below what is asked; nothing is offered over an order."""
    told = Told(at("found-maximum"))
    told.live.saw(told.rehearsal.say("gas smell"))
    assert told.live.picture().answers == 0
    told.live.saw(told.rehearsal.say("outside"))
    picture = told.live.picture()
    assert picture.offers[: picture.answers] == ("control closed", "not reached")


def test_who_is_outside_and_has_told_all_sees_the_question_and_no_more_the_order() -> None:
    """How it goes on, in large answers; after a refused step only the way down. A new cry is an order again."""
    told = Told(at("found-maximum"))
    for line in ("gas smell", "outside", "control closed", "nobody inside", "the gas emergency service"):
        told.live.saw(told.rehearsal.say(line))
    picture = told.live.picture()
    assert picture.headline == "Stay outside. Put right, or leave it off?"
    assert picture.offers[: picture.answers] == ("put right", "leave it off")
    for line in ("put right", "still off", "emergency service", "building aired", "detector sounding"):
        told.live.saw(told.rehearsal.say(line))
    picture = told.live.picture()
    assert picture.headline == "Leave it off. Close the record?"
    assert picture.offers[: picture.answers] == ("leave it off",)
    told.live.saw(told.rehearsal.say("gas smell"))
    picture = told.live.picture()
    assert picture.headline == told.plan.catalogue.hazards["gas-smell"].script
    assert picture.answers == 0


def test_a_visit_that_was_left_off_says_so_once_and_what_is_still_altered() -> None:
    """Neither "finished" nor twice the same; the record no longer says that it records."""
    told = Told(at("found-maximum"))
    words = ("gas smell", "outside", "not reached", "nobody inside", "them", "leave it off", "not known")
    for line in (*words, "nobody there", "none", "confirmed"):
        told.live.saw(told.rehearsal.say(line))
    picture = told.live.picture()
    assert picture.banner == "STOPPED, LEFT AS REPORTED"
    assert picture.headline == f"Not finished. Still altered: {len(told.state.altered)}."
    assert picture.seal.text.startswith("closed, ")
    assert not picture.taken, "what was read before elsewhere stopped nothing"
