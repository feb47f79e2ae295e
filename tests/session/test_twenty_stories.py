"""Twenty stories, word for word, through the real session: what a person says or presses, and what the tool says.

Words after "!" are heard, those after ">" are a key or a touch of the phone, "..." is silence; all else is typed.
Three of them are told by sound, too: `tests/visit/test_stories_by_sound.py`. Where each order and step comes from:
`handsfree/trades/combustion/hazards.yaml`.
"""

from __future__ import annotations

from functools import cache

import pytest
from rehearsed import at, hear, plan_with, spoken, with_job

from handsfree.events import inputs as inp
from handsfree.glance.keypad_state import KeypadState, press
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.trades.sheets import Alert

READINGS, WIRING, TURN = ("found-maximum", "gate"), ("wiring", "gate"), ("maximum-turn", "turn")
GAS = "Gas. Touch no switch. Everyone out. Call from outside."
OFF = "Burner off now. Gas cock closed. Stay clear."
FIRE = "Everyone out now. Close doors. Call the fire service outside."
MONOXIDE = "Monoxide. Everyone out now. Doors open. Call from outside."
FRESH_AIR = "Out into fresh air now. Call a doctor from outside."
CONTROL, INSIDE, CALLED = "Emergency control: closed, or not reached?", "Who is inside?", "Call made: to whom?"
STAY_OUT, GO_ON = "Stay outside. Put right, or leave it off?", "Put right, misheard, or leave it off?"
BURNS, CAUSE = "Burner: firing, or out?", "Cause: what was it?"
PURGE, LIGHT = "Purge wait by the manual: over, or waiting?", "Light up, watch it. Lit smoothly, or rough?"
HOLD, CLOSE = "Hold maximum again.", "Leave it off. Close the record?"
ROOM = "Ambient CO, from the door?"
BURNER_DOWN = "Burner: switched off, not touched, or unknown?"
GAS_DOWN, POWER_DOWN = "Gas cock: closed, not touched, or unknown?", "Power: isolated, not touched, or unknown?"
TOLD = "Responsible person: told, refused, or absent?"
CLASS, CLOSING = "Class by local rules: say it, or none.", "Close it. Confirmed?"
HIGH_CO = "CO2 nine point three. O2 four point four. CO nine zero zero."
TOO_HIGH = "Burner off now. CO too high."

Beats = tuple[tuple[str, ...], ...]
STORIES: dict[str, tuple[tuple[str, str], Beats]] = {
    "gas smell": (READINGS, (
        ("!gas smell", GAS), ("Carry on.", GAS), ("it was misheard", GAS), ("Outside.", CONTROL),
        ("control closed", INSIDE), ("nobody inside", CALLED), ("the gas emergency service", STAY_OUT),
        ("put right", "Gas supply: still off, or on again?"), ("on again", "Gas supply: still off, or on again?"),
        ("still off", "Released by emergency service, responsible person, or nobody?"),
        ("nobody yet", "Released by emergency service, responsible person, or nobody?"),
        ("emergency service", "Building aired, or not yet?"),
        ("building aired", "Gas detector, from the door inwards: silent, or sounding?"),
        ("detector silent", "Source: repaired, or not found?"),
        ("source repaired", "Tightness test: steady, or dropping?"),
    )),
    "a stop that was none": (READINGS, (
        ("!stop", OFF), ("!false stop", BURNS), ("Out.", "Set void. Back to the rate.", PURGE),
        ("wait over", LIGHT), ("lit smoothly", HOLD),
    )),
    "a turn the wrong way": (TURN, (
        ("!clockwise one turn", "Say the turn again."), ("!clockwise one turn", "CO?"),
        ("!over range", "Over range. Burner off now."),
    )),
    "a turn to be undone": (TURN, (
        ("!clockwise one turn", "Say the turn again."), ("!clockwise one turn", "CO?"),
        ("!forty", "Four zero.", "Which screw: maximum, minimum?"),
        ("!maximum", "Undo: counter-clockwise, one turn."),
        ("!counter clockwise one turn", "Undone."),
    )),
    "the wrong screw": (TURN, (
        ("wrong screw", "Turn made?"), ("counter clockwise one eighth", "Say the turn again."),
        ("counter clockwise one eighth", "CO?"),
        ("forty", "Four zero.", "Undo: offset screw, clockwise, one eighth."),
    )),
    "fire": (READINGS, (
        ("!there's a fire", FIRE), ("done", FIRE), ("outside", CONTROL), ("not reached", INSIDE),
        ("somebody inside", CALLED), ("fire service", STAY_OUT),
        ("put right", "Released by the fire service, or nobody yet?"),
        ("the fire service", "Appliance and wiring: inspected, or not inspected?"),
        ("not inspected", CLOSE), ("put right", CLOSE),
    )),
    "monoxide": (READINGS, (
        ("!the alarm is sounding", MONOXIDE), ("outside", CONTROL), ("control closed", INSIDE),
        ("not known", CALLED), ("emergency service", STAY_OUT),
        ("put right", "Boiler: switched off, or still on?"),
        ("switched off", ROOM), ("nine", ROOM), ("ten", "Not yet. Ambient CO 10.", ROOM), ("three", ROOM),
        ("two", "Source of the CO: what was it?"),
    )),
    "who felt ill stays out": (WIRING, (
        ("!i feel ill", FRESH_AIR), ("carry on", FRESH_AIR), ("outside", CONTROL), ("not reached", INSIDE),
        ("nobody inside", CALLED), ("a doctor", STAY_OUT),
        ("put right", "Who felt ill stays out. Another person, or nobody?"), ("nobody else", CLOSE),
        ("leave it off", "Gas supply: shut off, not touched, or unknown?"), ("not known", TOLD),
        ("nobody there", CLASS), ("none", CLOSING), ("confirmed", "Still altered: Power, Lock, Gas cock, Cover."),
    )),
    "a shock, then gas": (WIRING, (
        ("!i got a shock", "Power off first. Touch nobody before. Call an ambulance."), ("!gas smell", GAS),
        ("!i got a shock", GAS), ("outside", CONTROL),
    )),
    "a burn": (WIRING, (
        ("!i'm burnt", "Burner off. Cool running water on the burn, twenty minutes."), ("okay", GO_ON),
        ("put right", "Injury: fit for work, or not?"), ("fit for work", CAUSE),
        ("a hot pipe", "Before we go on.", "Power?"),
    )),
    "water": (WIRING, (
        ("!water is leaking", "Touch nothing wet. Water off at its valve. Power off."),
        ("put right", "Fault: repaired, or not repaired?"),
        ("fault repaired", "Electrics: seen dry, or still wet?"),
        ("still wet", "Electrics: seen dry, or still wet?"),
    )),
    "a burner that goes out": (READINGS, (
        ("!burner out", "Leave it off. No reset. Gas cock closed.", "Set void. Back to the rate.", CAUSE),
        ("the gas valve closed", PURGE), ("wait over", LIGHT), ("lit smoothly", HOLD),
        ("maximum held", "Wait three minutes. I will call."),
    )),
    "a flame that lifts": (READINGS, (
        ("!the flame is lifting", "Burner off now. No reset. Gas cock closed."), ("okay", GO_ON),
        ("put right", CAUSE),
    )),
    "a value misheard": (READINGS, (
        ("!nine three four four nine zero zero maximum", HIGH_CO), ("confirmed", TOO_HIGH),
        ("it was misheard", "CO2, off the display?"), ("nine three", "O2, off the display?"),
        ("four four", "CO, off the display?"), ("one eight", BURNS),
        ("out", "Set void. Back to the rate.", PURGE),
    )),
    "a value that stands": (READINGS, (
        ("!nine three four four nine zero zero maximum", HIGH_CO), ("confirmed", TOO_HIGH),
        ("it was misheard", "CO2, off the display?"), ("nine three", "O2, off the display?"),
        ("four four", "CO, off the display?"), ("nine hundred", TOO_HIGH),
        ("it was misheard", "Put right, or leave it off?"),
    )),
    "left off in order": (READINGS, (
        ("!stop work", OFF), ("leave it off", BURNER_DOWN), ("burner switched off", GAS_DOWN),
        ("gas cock closed", POWER_DOWN), ("power isolated", "Probe: removed, or inserted?"),
        ("removed", "Flue plug: fitted, or removed?"), ("fitted", "Inlet nipple: closed, or open?"),
        ("closed", "Meter nipple: closed, or open?"), ("closed", "Tag and lock: fitted, or not fitted?"),
        ("tag fitted", TOLD), ("person told", CLASS), ("immediately dangerous", CLOSING),
        ("confirmed", "Still altered: Reset, Set point, Thermostat, Rate hold."),
    )),
    "a relight that is rough": (READINGS, (
        ("!stop", OFF), ("!false stop", BURNS), ("!out", "Set void. Back to the rate.", PURGE),
        ("!wait over", LIGHT), ("!rough", CLOSE), ("!put right", CLOSE), ("!leave it off", BURNER_DOWN),
    )),
    "somebody must leave": (READINGS, (
        ("!i must leave", "Burner off now. Gas cock closed. Then say what stands.", BURNER_DOWN),
        ("not touched", GAS_DOWN), ("not known", POWER_DOWN),
    )),
    "gas by the keys": (READINGS, (
        (">stop", OFF), (">hazard gas-smell", GAS), ("!false stop", GAS), ("!it was misheard", GAS),
        ("!outside", CONTROL),
    )),
    "nobody answers": (READINGS, (
        ("...", "CO2, O2, CO?"), ("...", "Answer now."),
        ("...", OFF, "No answer here. Call the office: 0555 0100."),
    )),
}  # fmt: skip
OUT_OF_ORDER = {"Undone."}
"""After it the visit goes on by itself; only what is said first belongs to the story."""


@cache
def planned() -> Plan:
    """Return the plan of the shipped visit with somebody on the sheet who is told when nobody answers."""
    return plan_with(with_job(alert=Alert(who="the office", number="0555 0100")))


def told(visit: Rehearsal, words: str) -> list[str]:
    """Let a person do one thing; return what the tool says."""
    if words == "...":
        return spoken(visit.wait())
    if words.startswith("!"):
        return spoken(hear(visit, words[1:]))
    if words.startswith(">"):
        _, text = press(visit.plan, visit.state, KeypadState(), words[1:], visit.state.now)
        return spoken(visit.take(inp.Typed(at=visit.state.now, text=text)))
    return spoken(visit.say(words))


def test_there_are_twenty() -> None:
    assert len(STORIES) == 20


@pytest.mark.parametrize("name", STORIES)
def test_the_story_is_told_word_for_word(name: str) -> None:
    place, beats = STORIES[name]
    visit = at(*place)
    visit.plan = planned()
    for words, *tool in beats:
        said = told(visit, words)
        assert (said[:1] if set(tool) <= OUT_OF_ORDER else said) == tool, words
