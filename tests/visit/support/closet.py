"""A small visit whose gates want photos, begun and led from a test, and what a camera gives it."""

from __future__ import annotations

import io
from pathlib import Path

from mouth import Mouth
from PIL import Image
from recorded import ToldClock
from rehearsed import JOB_SHEET

from handsfree.events import inputs as inp
from handsfree.glance.watching import LiveScreen
from handsfree.photo_file import kept_form
from handsfree.visit.conductor import Conductor
from handsfree.visit.folder import load_plan
from handsfree.visit.recorder import Recorder, spoken

PROCEDURE = """\
handsfree: 2
procedure: small
title: Photos, tried
purpose: Photos are taken.
gates:
  - {id: plate, kind: confirm, title: Plate read, source: a test, prompt: Read it., done: [plate read],
     photo: the data plate}
  - {id: flue, kind: confirm, title: Flue seen, source: a test, prompt: Look at it., done: [flue seen],
     photo: the flue}
  - {id: lit, kind: confirm, title: Lit, source: a test, prompt: Light it., done: [lit], firing: true}
  - {id: off, kind: confirm, title: Switched off, source: a test, prompt: Put it out., done: [dark]}
  - {id: finish, kind: finish, title: Finish, source: none}
"""


def camera(form: str = "JPEG", size: tuple[int, int] = (640, 480), **beside: object) -> bytes:
    """A picture, red on its left and blue on its right, as a camera writes it."""
    image = Image.new("RGB", size, "blue")
    image.paste("red", (0, 0, size[0] // 2, size[1]))
    out = io.BytesIO()
    image.save(out, form, **beside)
    return out.getvalue()


def with_place() -> bytes:
    """A picture held on its side, with place, time and maker (Exif 2.32, tags 0112, 010F, 0132, GPS 1 to 4)."""
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x0132] = 6, "Invented Maker", "2026:01:02 03:04:05"
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 31.0, 12.0), 3: "E", 4: (13.0, 24.0, 18.0)})
    return camera(exif=exif, comment=b"whose house")


class Closet:
    """A visit, its screen, and whoever conducts it, one look at the page at a time."""

    def __init__(self, folder: Path, *, way: bool = True, sheet: Path = JOB_SHEET) -> None:
        file = folder / "small.yaml"
        file.write_text(PROCEDURE, encoding="utf-8")
        plan, kept = load_plan(file, sheet)
        self.recorder, opening = Recorder.begin(folder / "visit", plan, kept, clock=ToldClock(), photos=way)
        self.opening = spoken(opening)
        self.live, self.mouth = LiveScreen(self.recorder, listening=False, words=True), Mouth()
        self.conductor = Conductor(self.recorder, self.mouth, None, None, photos=[self.live])

    def says(self, words: str) -> list[str]:
        self.recorder.take(inp.SpeechEnded(at=self.recorder.now()))
        return spoken(self.recorder.take(inp.Typed(at=self.recorder.now(), text=words)))

    def photographs(self, gate: str, content: bytes = b"") -> None:
        self.live.photographed(gate, content or kept_form(camera()))
        self.conductor._photograph()  # what the loop does at each turn

    def finished(self) -> Path:
        for words in ("lit", "dark", "confirmed"):
            self.says(words)
        assert self.recorder.state.outcome == "finished"
        return self.recorder.folder

    @property
    def kept(self) -> int:
        return len([one for one in (self.recorder.folder / "personal").iterdir() if b"JFIF" in one.read_bytes()])
