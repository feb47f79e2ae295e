"""What was understood of one utterance, and how surely."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.lexicon.meaning import Called, Meaning, Values


@dataclass(frozen=True)
class Utterance:
    """The circumstances of what was understood."""

    onset: int
    """When the speech began, in ms of the visit."""
    doubt: str = ""
    """Why the hearing is not sure; empty when nothing speaks against it."""
    rivals: tuple[Meaning, ...] = ()
    """What else it may have meant, likeliest first."""
    sound: str | None = None
    text: str = ""
    values: tuple[tuple[str, Called], ...] = ()
    """The values called, when values were called."""
    slight: bool = False
    """The doubt is slight: enough for "done", never for a reading, a restore, a turn or the finish."""
    words: tuple[str, ...] = ()
    """The words themselves, where they are known."""

    def in_doubt(self, quantity: str) -> bool:
        """Say whether the doubt touches a quantity: all, unless the rivals agree on it."""
        called = [dict(rival.values).get(quantity) for rival in self.rivals if isinstance(rival, Values)]
        own = dict(self.values).get(quantity)
        return not called or any(value is None or str(value) != str(own) for value in called)
