"""What a visit is shown on: lines, the big-type screen, the page for a phone; and the keys that come from them."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from handsfree.commands.visit_options import VisitOptions
from handsfree.events.devices import DeviceChange
from handsfree.events.record import Event
from handsfree.glance import terminal
from handsfree.glance.phone_sound import PhoneSound
from handsfree.glance.watching import LiveScreen
from handsfree.glance.web import Page
from handsfree.ledger.personal import names_of
from handsfree.problem import Problem
from handsfree.visit.conductor import Keys
from handsfree.visit.hearing import told_in
from handsfree.visit.recorder import Recorder
from handsfree.visit.typed_lines import TypedLines


@dataclass(frozen=True)
class Screen:
    """What is there: who watches, where keys come from, and whether lines are printed."""

    live: LiveScreen | None
    keys: Keys | None
    lines: bool


@contextlib.contextmanager
def shown(
    recorder: Recorder,
    options: VisitOptions,
    past: Sequence[Event] = (),
    sound: PhoneSound | None = None,
    switch_off: bytes = b"",
) -> Iterator[Screen]:
    """Yield what the visit is shown on; `past` are the events of a visit that is gone on with.

    With `sound` the page's phone is microphone and loudspeaker; `switch_off` (WAV) is what it says by itself.

    A record that fails is shown before it is raised; the terminal is given back whatever happens.
    """
    wanted = not options.plain and terminal.usable()
    if not wanted and options.glance_web is None:
        yield Screen(None, _lines(options), lines=True)
        return
    live = LiveScreen(recorder, listening=not options.typed, words=options.typed)
    personal = names_of(recorder.folder)
    live.saw([told_in(event, personal) for event in past])
    with contextlib.ExitStack() as stack:
        page = None
        if options.glance_web is not None:
            page = Page(options.glance_web, live, recorder.plan.catalogue, sound, switch_off)
            if sound is not None and page.why_view_only:
                raise Problem("the phone cannot be heard: its page is not encrypted", remedy=page.why_view_only)
            stack.enter_context(page)
            view_only = recorder.plan.catalogue.show("phone-view")
            sys.stderr.write("".join(f"  {line}\n" for line in _addresses(page, view_only)))
        if wanted:
            phone = f" {recorder.plan.catalogue.show('phone')} {page.url}" if page else ""
            first = code(page.url) if page else []
            followed = page.followed if page else None
            stack.enter_context(terminal.Terminal(phone=phone, first=first, followed=followed)).show(live)
        try:
            yield Screen(live, live if wanted else _Both(live, _lines(options)), lines=not wanted)
        except Problem as problem:
            live.failed(problem.what)
            raise


def _addresses(page: Page, view_only: str) -> list[str]:
    """Return what a person needs to open the page, with keys where it is encrypted."""
    if page.why_view_only:
        return [f"{page.view_url}  {view_only}", f"No keys on the phone: {page.why_view_only}"]
    once = f"{page.plain_url.partition('#')[0]}  once on each phone: the certificate, SHA-256 {page.fingerprint}"
    return [page.url, f"{page.view_url}  {view_only}", once]


def _lines(options: VisitOptions) -> Keys | None:
    return TypedLines(_bytes) if options.typed or sys.stdin.isatty() else None


def _bytes(most: int) -> bytes:
    """Return what the standard input has, whatever it is; none of it is kept from whoever reads it later."""
    return os.read(sys.stdin.fileno(), most)


class _Both:
    """Keys of the page, and lines where there are any."""

    def __init__(self, live: LiveScreen, lines: Keys | None) -> None:
        self._live, self._lines = live, lines

    @property
    def over(self) -> bool:
        """Whether no line can come any more: never, while the page is there."""
        return False

    def line(self) -> str | None:
        """Return the next line, or None."""
        text = self._live.line()
        return text if text is not None or self._lines is None else self._lines.line()

    def change(self) -> DeviceChange | None:
        """Return that the page or the lines were lost or found, or None."""
        change = self._live.change()
        return change if change is not None or self._lines is None else self._lines.change()


def code(url: str) -> list[str]:
    """Return the address as a square of dots for a phone's camera, where a library can draw it; else nothing."""
    try:
        import segno  # noqa: PLC0415 - optional
    except ImportError:
        return []
    rows = [[bool(dot) for dot in row] for row in segno.make(url, error="l").matrix_iter(border=2)]
    rows += [[False] * len(rows[0])] * (len(rows) % 2)
    halves = {(True, True): " ", (True, False): "▄", (False, True): "▀", (False, False): "█"}
    pairs = zip(rows[::2], rows[1::2], strict=True)
    return [url, *("".join(halves[dots] for dots in zip(*pair, strict=True)) for pair in pairs)]
