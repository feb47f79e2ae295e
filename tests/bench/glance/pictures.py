"""Take the README's pictures of the technician's screens: `python tests/bench/glance/pictures.py .readme`.

The terminal is the real screen of `handsfree demo --glance` in a pseudo-terminal of 80 by 24; the page is the
real page of the same scenario, recorded with a clock that is told, in Debian's Chromium as a phone shows it.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

from tests.programs import program

ROOT = Path(__file__).resolve().parents[3]
for folder in ("glance", "session", "visit"):
    sys.path.insert(0, str(ROOT / "tests" / folder / "support"))

from recorded import ToldClock  # noqa: E402
from rehearsed import JOB_SHEET, PROCEDURE, technician  # noqa: E402
from seen import Seen  # noqa: E402
from trusting import telephone  # noqa: E402

from handsfree.events import inputs as inp  # noqa: E402
from handsfree.glance.watching import LiveScreen  # noqa: E402
from handsfree.glance.web import Page  # noqa: E402
from handsfree.visit.folder import load_plan  # noqa: E402
from handsfree.visit.recorder import Recorder  # noqa: E402

WIDE, HIGH = 10, 20
COLOURS = {"default": None, "white": "#d0d0d0", "brightwhite": "#ffffff", "black": "#000000", "red": "#cc0000"}
COLOURS |= {"brown": "#ffd54a", "brightblack": "#555555"}
LOOK = (
    'font-family="DejaVu Sans Mono,monospace" font-size="16.6" shape-rendering="crispEdges" role="img" '
    'aria-label="The technician\'s screen on a terminal of 80 by 24"'
)

QUARTERS = dict(zip(" ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█", range(16), strict=True))


def main() -> None:
    """Take both pictures into the folder that is named."""
    into = Path(sys.argv[1])
    with tempfile.TemporaryDirectory() as work:
        os.environ["HANDSFREE_STATE"] = f"{work}/state"
        (into / "glance-terminal.svg").write_text(terminal(Path(work)), "utf-8")
        phone(Path(work), into / "glance-phone.png")


def terminal(work: Path) -> str:
    """Return the screen in a wait between two sets, while a value still rises."""
    seen = Seen(program("demo", "--glance", "--out", work / "demo"), cwd=work)
    while seen.child.isalive():
        seen.follow(0.1)
        if seen.large("Wait") and "still rising" in seen.text() and "0:1" in seen.text():
            break
    svg = drawn(seen)
    seen.child.sendintr()
    seen.follow(3)
    return svg


def drawn(seen: Seen) -> str:
    """Return a terminal's screen as SVG: block characters as the rectangles that they are."""
    columns, rows = seen.screen.columns, seen.screen.lines
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {columns * WIDE} {rows * HIGH}" {LOOK}>',
        '<rect width="100%" height="100%" fill="#000"/>',
    ]
    for row in range(rows):
        for column in range(columns):
            parts += cell(seen.screen.buffer[row][column], column * WIDE, row * HIGH)
    return "\n".join([*parts, "</svg>\n"])


def cell(char: object, x: int, y: int) -> list[str]:
    """Return what one character of a terminal is drawn with."""
    front, back = COLOURS[char.fg] or "#ffffff", COLOURS[char.bg] or "#000000"  # type: ignore[attr-defined]
    if char.reverse:  # type: ignore[attr-defined]
        front, back = back, front
    parts = [] if back == "#000000" else [rectangle(x, y, WIDE, HIGH, back)]
    text = char.data  # type: ignore[attr-defined]
    if text == "░":
        parts.append(rectangle(x, y, WIDE, HIGH, front, ' opacity="0.25"'))
    elif text in QUARTERS:
        bits = QUARTERS[text]
        for place in range(4):
            if bits >> place & 1:
                corner = x + place % 2 * WIDE // 2, y + place // 2 * HIGH // 2
                parts.append(rectangle(*corner, WIDE // 2, HIGH // 2, front))
    elif text.strip():
        weight = ' font-weight="bold"' if char.bold else ""  # type: ignore[attr-defined]
        escaped = text.replace("&", "&amp;").replace("<", "&lt;")
        parts.append(f'<text x="{x}" y="{y + 15}" fill="{front}"{weight}>{escaped}</text>')
    return parts


def rectangle(x: int, y: int, wide: int, high: int, fill: str, more: str = "") -> str:
    return f'<rect x="{x}" y="{y}" width="{wide}" height="{high}" fill="{fill}"{more}/>'


def phone(work: Path, into: Path) -> None:
    """Photograph the page while the third value of a set is entered."""
    clock = ToldClock()
    plan, kept = load_plan(PROCEDURE, JOB_SHEET)
    recorder, opening = Recorder.begin(work / "visit", plan, kept, clock=clock)
    live, person = LiveScreen(recorder, listening=False, words=False), technician(plan)
    live.saw(opening)
    person.notice(opening, 0)

    def take(event: inp.Input) -> None:
        decisions = recorder.take(event)
        person.notice(decisions, recorder.state.now / 1000)
        live.saw((event, *decisions))

    while not (recorder.state.gate == "found-maximum" and len(recorder.state.readings("found-maximum")) == 2):
        step(recorder, clock, person, take)
    while recorder.state.question.kind != "values" or recorder.state.speaking:
        step(recorder, clock, person, take)
    with Page("127.0.0.1:0", live, plan.catalogue) as page:
        for key in ("8", "3", "enter", "6", "2", "enter", "2"):
            clock.pass_ms(1_200)
            live.press(key)
            live.line()
        photograph(page, live, into)
    recorder.release()


def step(recorder: Recorder, clock: ToldClock, person: object, take: object) -> None:
    """Go one input on, as the rehearsed visit does."""
    clock.pass_ms(1_200)
    state = recorder.state
    if state.speaking:
        take(inp.SpeechEnded(at=recorder.now()))  # type: ignore[operator]
    elif state.question.manner.awaits != "answer":
        clock.pass_ms(max(0, (recorder.deadline() or 0) - recorder.now()))
        take(inp.TimePassed(at=recorder.now()))  # type: ignore[operator]
    else:
        take(inp.Typed(at=recorder.now(), text=person.answer(state)))  # type: ignore[attr-defined,operator]


def photograph(page: Page, live: LiveScreen, into: Path) -> None:
    driver = telephone(Path(os.environ["HANDSFREE_STATE"]) / "home")
    driver.get(page.url)
    for _ in range(20):
        live.line()
        time.sleep(0.1)
    driver.save_screenshot(str(into))
    driver.quit()


if __name__ == "__main__":
    main()
