"""The technician's page on a phone of 390 by 844, at every question of the shipped visit and after its stops.

The pictures are those that the program sends; the browser lays each of them out, and says what can be seen.
"""

import json
import sys
from pathlib import Path

import pytest
from selenium.webdriver.support.ui import WebDriverWait

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT / "tests" / "glance" / "support"), str(ROOT / "tests" / "session" / "support")]

from rehearsed import at, places, twin  # noqa: E402
from told import Told  # noqa: E402

from handsfree.glance.web import Page  # noqa: E402
from tests.browser.test_glance import phone  # noqa: E402, F401

MEASURED = """
const picture = arguments[0];
show(picture);
last = performance.now();  // it is as new as any: nothing covers it
document.getElementById("cover").hidden = true;
scrollTo(0, 0);
const at = (id) => document.getElementById(id), all = (what) => [...document.querySelectorAll(what)];
const seen = (node) => node !== null && node.offsetParent !== null;
const broken = (node) => {  // words that stand on two lines
  const found = [];
  const walk = document.createTreeWalker(node, NodeFilter.SHOW_TEXT);
  for (let text; (text = walk.nextNode());)
    for (const word of text.data.matchAll(/[^\\s-]+/g)) {
      const range = document.createRange();
      range.setStart(text, word.index);
      range.setEnd(text, word.index + word[0].length);
      if (new Set([...range.getClientRects()].map((r) => Math.round(r.top))).size > 1) found.push(word[0]);
    }
  return found;
};
const keys = at("keys").getBoundingClientRect();
const on_top = (node) => {  // whole on the screen without scrolling, with nothing over it
  const r = node.getBoundingClientRect();
  const floor = at("keys").contains(node) || !seen(at("row")) ? innerHeight : keys.top;
  const there = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
  return r.top >= 0 && r.bottom <= floor + 0.5 && node.contains(there);
};
const look = (node) => [getComputedStyle(node).backgroundColor, parseFloat(getComputedStyle(node).fontSize)];
return {
  wide: document.documentElement.scrollWidth > innerWidth,
  broken: ["headline", "remark", "enter", "stop", "danger", "offers", "banner", "gate"].map(at).filter(seen)
    .flatMap(broken),
  cut: all("button, #headline").filter((n) => seen(n) && n.scrollWidth > n.clientWidth + 1)
    .map((n) => n.textContent),
  enter: seen(at("enter")) ? at("enter").textContent : "",
  enterOnTop: !seen(at("enter")) || on_top(at("enter")),
  stop: seen(at("stop")) && on_top(at("stop")),
  danger: seen(at("danger")) && on_top(at("danger")),
  headline: at("headline").textContent,
  headlineOnTop: on_top(at("headline")),
  answers: all("#offers li.answer button").map((n) => [n.textContent, ...look(n)]),
  others: all("#offers li.other button").map((n) => [n.textContent, ...look(n)]),
  firstOnTop: all("#offers button").slice(0, 1).every(on_top),
  bands: all("#values li").map((n) => [n.querySelector("i").hidden ? "" : n.querySelector("i").textContent,
    n.classList.contains("outside"), on_top(n)]),
  alteredOnTop: picture.condition !== "stopped" || on_top(all("#facts dd")[0]),
  keys: seen(at("row")),
};
"""


def pictures():
    """Yield what the program sends at every question, on hold, with a value outside, a mark, and after stops."""
    beside = {
        "outside": (("found-maximum", "gate"), (), "120"),
        "marked": (("heat-exchanger", "gate"), (), ("down",)),
        "held": (("found-maximum-temperatures", "gate"), ("hold on",), ()),
        "turn again": (("maximum-turn", "turn"), ("clockwise one turn",), ()),
        "turn watched": (("maximum-turn", "turn"), ("clockwise one turn", "clockwise one turn"), ()),
    }
    away = ("gas smell", "outside", "not reached", "nobody inside", "them")
    left = (*away, "leave it off", "not known", "nobody there")
    stops = [
        ("gas smell",),
        ("gas smell", "outside"),
        ("alarm",),
        away,
        ("fire",),
        ("feel ill",),
        ("i got a shock",),
        ("i'm burnt",),
        ("water is leaking",),
        ("flame lifting",),
        ("stop work",),
        ("stop work", "put right"),
        ("stop work", "leave it off"),
        ("stop work", "leave it off", "not touched", "not known", "not touched"),
        left,
        (*left, "none", "confirmed"),
    ]
    for words in stops:
        beside[", ".join(words)] = (("found-maximum", "gate"), words, ())
    for name, (place, words, keys) in beside.items():
        yield name, sent(at(*place), words, keys)
    for key, kept in places().items():
        yield "/".join(key), sent(twin(kept))


def sent(visit, words=(), keys=()):
    told = Told(visit)
    for line in words:
        told.live.saw(told.rehearsal.say(line))
    for key in keys:
        told.live.press(key)
        told.turn()
    told.turn()
    page = Page("127.0.0.1:0", told.live, told.plan.catalogue)
    page._listener.close()
    return json.loads(page._picture())


@pytest.mark.slow("a browser lays out 230 pictures")
def test_every_picture_of_the_visit_can_be_read_and_touched_on_a_phone(phone):  # noqa: F811
    """Keys whole and in reach, answers unlike other keys and in view, Enter as the picture has it, bands."""
    told = Told(at("cover-off"))
    with Page("127.0.0.1:0", told.live, told.plan.catalogue) as page:
        phone.get(page.url)
        WebDriverWait(phone, 60).until(
            lambda b: told.turn() or b.find_element("id", "headline").text == "Cover off."
        )
        faults, counted = [], 0
        for name, picture in pictures():
            seen = phone.execute_script(MEASURED, picture)
            counted += 1
            faults += [f"{name}: {what}" for what in wrong(picture, seen)]
        assert counted > 200
        assert faults == []


def wrong(picture, seen):  # noqa: C901 - one line for each thing looked at
    """Yield what a technician with a glove could not read or touch."""
    running, stopped = picture["condition"] in {"running", "held"}, picture["condition"] == "stopped"
    over = not running and not stopped
    if seen["wide"]:
        yield "it scrolls sideways"
    if seen["broken"] or seen["cut"]:
        yield f"words are broken or cut: {seen['broken']} {seen['cut']}"
    if seen["enter"] != picture["enter"] or not seen["enterOnTop"]:
        yield f"Enter says {seen['enter']!r} for {picture['enter']!r}, or is covered"
    if seen["stop"] != running or seen["danger"] != (not over) or seen["keys"] == over:
        yield f"STOP {seen['stop']}, DANGER {seen['danger']}, keys {seen['keys']}"
    if seen["headline"] != picture["headline"] or not seen["headlineOnTop"]:
        yield "what to do is not whole in view"
    shown = [text for text, *_ in seen["answers"]]
    if shown != picture["offers"][: picture["answers"]]:
        yield f"the answers are {shown}"
    if seen["answers"] and seen["others"]:
        grey, small = seen["others"][-1][1:]
        if any(colour == grey or size <= small for _, colour, size in seen["answers"]):
            yield "an answer looks like every other key"
    if (picture["answers"] or stopped) and not seen["firstOnTop"]:
        yield "the first answer is out of view"
    if [[one["band"], one["outside"]] for one in picture["values"]] != [one[:2] for one in seen["bands"]]:
        yield f"bands: {seen['bands']}"
    if not all(on_top for *_, on_top in seen["bands"]):
        yield "a value is out of view"
    if not seen["alteredOnTop"]:
        yield "what is still altered is out of view"
