"""Photos from a folder that a camera, or a phone's synchronising, writes into during the visit.

Only what comes after the visit has begun is looked at, once it has stopped growing; nothing there is changed or
deleted. Pictures are drawn anew in a thread of their own: the visit never waits for one.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Self

from handsfree.photo_file import LARGEST_GIVEN, Photo, kept_form
from handsfree.problem import Problem, one_line
from handsfree.regular_files import open_regular

PERIOD_S = 0.5
MOST_FILES = 2_000
"""Names that are looked at; a folder with more is no place to watch."""
MOST_WAITING = 8


class PhotoFolder:
    """Watches a folder until it is left; what cannot be taken is told in one sentence by `note`."""

    def __init__(self, folder: Path, note: Callable[[str], None]) -> None:
        """Raise Problem when there is no such folder."""
        self._folder, self._note = folder, note
        self._photos: queue.Queue[Photo] = queue.Queue(MOST_WAITING)
        try:
            self._known = set(self._sizes())
        except OSError as error:
            what = f"the folder of photos cannot be watched ({error.strerror})"
            raise Problem(what, where=str(folder), remedy="make it, or name another") from error
        self._growing: dict[str, int] = {}
        self._ill = ""
        self._over = threading.Event()
        self._watching = threading.Thread(target=self._watch, name="handsfree photos", daemon=True)

    def __enter__(self) -> Self:
        self._watching.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()

    def photo(self) -> Photo | None:
        """Return the next photo, each once; or None."""
        try:
            return self._photos.get_nowait()
        except queue.Empty:
            return None

    def look(self) -> None:
        """Look once: a file that has not grown since the last look is taken."""
        try:
            sizes = self._sizes()
        except OSError as error:
            self._told_once(f"The folder of photos cannot be read ({error.strerror}).")
            return
        if len(sizes) > MOST_FILES:
            self._told_once(f"The folder of photos holds more than {MOST_FILES} files: name another.")
            return
        self._ill = ""
        for name in sorted(set(sizes) - self._known):
            if self._growing.get(name) == sizes[name] > 0 and not self._photos.full():
                self._known.add(name)
                self._take(name)
        self._growing = {name: size for name, size in sizes.items() if name not in self._known}

    def _watch(self) -> None:
        while not self._over.wait(PERIOD_S):
            self.look()

    def _sizes(self) -> dict[str, int]:
        """Return the plain files of the folder, hidden ones left out; never through a link."""
        found: dict[str, int] = {}
        for each in self._folder.iterdir():
            if len(found) > MOST_FILES:
                break
            try:
                plain = not each.name.startswith(".") and each.is_file() and not each.is_symlink()
                if plain:
                    found[each.name] = each.stat().st_size
            except FileNotFoundError:
                continue  # moved away meanwhile
        return found

    def _take(self, name: str) -> None:
        try:
            with open_regular(self._folder / name) as stream:
                data = stream.read(LARGEST_GIVEN + 1)
            self._photos.put_nowait(Photo(kept_form(data, name), "folder"))
        except Problem as problem:
            self._note(f"No photo taken: {problem.sentence()}")
        except OSError as error:
            self._note(f"No photo taken: {one_line(name)} cannot be read ({error.strerror})")

    def _told_once(self, sentence: str) -> None:
        if sentence != self._ill:
            self._ill = sentence
            self._note(sentence)
