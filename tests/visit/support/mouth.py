"""What stands in for the loudspeaker, which no test owns."""

from __future__ import annotations


class Mouth:
    """Says nothing, and keeps what it would show."""

    speaking = False

    def __init__(self) -> None:
        self.notes: list[str] = []

    def say(self, texts: object, tones: object) -> None:
        pass

    def cut(self) -> None:
        pass

    def note(self, text: str) -> None:
        self.notes.append(text)
