"""An interview: one question after the other, each answer checked and kept on disk as soon as it is given.

Whatever ends it (an interrupt, the end of input, a power cut), the same command goes on where it was left. "back"
takes the last answer back. Answers are kept as they were written, beside the sheet that they make.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypeVar

import typer

from handsfree.problem import ExitCode, Problem
from handsfree.procedure.sheet_questions import SheetQuestion

T = TypeVar("T")
BACK = "back"


class BackAsked(Exception):  # noqa: N818 - no error: the person wants the question before
    """The last answer is to be asked for again."""


class Interview:
    """Questions by a path that names them; answers already kept are taken without asking."""

    def __init__(self, sheet: Path, spell: Callable[[str], str] | None = None) -> None:
        """`spell` takes letters and digits by voice."""
        self.kept_at = sheet.with_name(f"{sheet.name}.answers")
        self.offer: Callable[[str, Mapping[str, str]], tuple[str, str] | None] = lambda *_: None
        """Path of a question and the answers so far -> an answer to offer and where it is from; Enter takes it."""
        self._spell, self._told = spell, set[str]()
        self._kept: dict[str, str] = self._read()
        if self._kept:
            typer.echo(f"Going on with {len(self._kept)} answers kept in {self.kept_at}.")

    def _read(self) -> dict[str, str]:
        if not self.kept_at.exists():
            return {}
        try:
            kept = json.loads(self.kept_at.read_text("utf-8"))
        except (ValueError, OSError) as error:
            what = "the answers kept here cannot be read"
            raise Problem(what, where=str(self.kept_at), remedy="delete the file to begin anew") from error
        if not isinstance(kept, dict) or not all(isinstance(one, str) for one in kept.values()):
            what = "these are no answers of an interview"
            raise Problem(what, where=str(self.kept_at), remedy="delete the file to begin anew")
        return kept

    def _write(self) -> None:
        """Write all answers so that a cut leaves the old ones or the new ones, never half of them."""
        beside = self.kept_at.with_name(f"{self.kept_at.name}.new")
        with beside.open("w", encoding="utf-8") as out:
            json.dump(self._kept, out, indent=1, ensure_ascii=False)
            out.flush()
            os.fsync(out.fileno())
        beside.replace(self.kept_at)

    def ask(self, question: SheetQuestion, read: Callable[[str], T]) -> T:
        """Return the answer to a question, asked until `read` takes it: its ValueError says what to write."""
        if question.path in self._kept:
            try:
                return read(self._kept[question.path])
            except ValueError:
                del self._kept[question.path]  # the sheet has changed since: it is asked again
        offered = self._offered(question.path, read)
        while True:
            if self._spell is not None and question.may_be_spelled and offered is None:
                text = self._spell(question.prompt)
            else:
                shown = question.default if offered is None else offered
                text = str(typer.prompt(question.prompt, default=shown, show_default=bool(shown))).strip()
            if text.lower() == BACK:
                raise BackAsked
            try:
                value = read(text)
            except ValueError as error:
                typer.echo(f"{text!r} cannot stand: {error}")
                continue
            self._kept[question.path] = text
            self._write()
            return value

    def tell(self, path: str, sentence: str) -> None:
        """Say something about a question, once."""
        if path not in self._told:
            self._told.add(path)
            typer.echo(sentence)

    def asks_again(self, path: str, why: str) -> bool:
        """Say why the answers below a path cannot stand together; they are asked for again."""
        typer.echo(f"These cannot stand together: {why}")
        self.forget(path)
        return True

    def _offered(self, path: str, read: Callable[[str], object]) -> str | None:
        """Return an answer that is offered to a question, told with where it is from; None for none."""
        found = self.offer(path, self._kept)
        if found is None:
            return None
        text, origin = found
        try:
            read(text)
        except ValueError:
            return None
        typer.echo(f"{origin}: {text}. Enter takes it.")
        return text

    def forget(self, path: str) -> None:
        """Drop the answers to a question and to all below it, so that they are asked for again."""
        self._kept = {
            name: text for name, text in self._kept.items() if name != path and not name.startswith(f"{path}/")
        }
        self._write()

    def lead(self, walk: Callable[[], T]) -> T:
        """Walk through all questions, again from the kept answers after each "back"."""
        while True:
            try:
                return walk()
            except BackAsked:
                if self._kept:
                    self._kept.popitem()
                    self._write()
            except (typer.Abort, KeyboardInterrupt, EOFError):
                kept = f"{len(self._kept)} answers are kept in {self.kept_at}"
                typer.echo(f"\n{kept}: the same command goes on from there.")
                raise typer.Exit(ExitCode.LEFT_OPEN) from None

    def done(self) -> None:
        """Drop the kept answers: the sheet holds them now."""
        self.kept_at.unlink(missing_ok=True)


__all__ = ["BackAsked", "Interview"]
