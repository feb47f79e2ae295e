"""The one error a person sees: what is wrong, where, and what to do about it."""

from __future__ import annotations

from enum import IntEnum
from pathlib import Path


class ExitCode(IntEnum):
    """What the command tells the shell; the table stands in handsfree/commands/COMMANDS.md."""

    DONE = 0
    """The command did what was asked."""
    FAILED = 1
    """The command ran and the answer is no: a check failed, a record does not verify, a visit stopped."""
    BAD_INPUT = 2
    """The command could not start: a file, an option or a value is wrong."""
    LEFT_OPEN = 3
    """A visit was interrupted and can be resumed."""
    UNANCHORED = 4
    """A record is whole, but nobody vouches for the key that sealed it."""
    REDUCED = 5
    """A record is whole as far as it is there: sound was left out or redacted by somebody who may."""


def one_line(text: str) -> str:
    """Return a text that somebody else may have written as one line that any terminal shows as it is.

    Line ends, escape sequences and what is no Unicode are written out, so that no file name forges a line.
    """
    return "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in text)


class Problem(Exception):  # noqa: N818 - it is a problem of the person's input, told in their words
    """A fault in what the person gave us, or in the machine around us, told in one sentence.

    `what` says what is wrong, `where` names the file (with line and column when known), and `remedy`
    says what to do. Developer mistakes must not use this class: they should crash loudly.
    """

    def __init__(
        self,
        what: str,
        *,
        where: str | None = None,
        remedy: str | None = None,
        code: ExitCode = ExitCode.BAD_INPUT,
    ) -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        self.code = code
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """Return the whole message as one line: where, what, remedy."""
        where = f"{self.where}: " if self.where else ""
        remedy = f"; {self.remedy}" if self.remedy else ""
        return one_line(f"{where}{self.what}{remedy}")


def write_text(path: Path, text: str) -> None:
    """Write a file; raise Problem when that is not possible."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        what = f"cannot write this file: {error.strerror}"
        raise Problem(what, where=str(path), remedy="check the folder and its permissions") from error
