"""What a procedure lets the person call out, and the things that it alters: the blocks that questions speak of."""

from __future__ import annotations

from pydantic import Field, model_validator

from handsfree.blocks import Block, Exact, Phrase


class Thing(Block):
    """Something a gate changes for the work and that must be put back."""

    said: str
    """Its name as the tool says it."""
    altered: Phrase
    """The word for its changed state, as both sides say it: "removed", "raised", "in"."""
    restored: Phrase
    """The word for its state as found: "fitted", "restored", "out"."""
    value: str | None = None
    """The quantity of its setting when it has one; the value found must be captured before it is altered."""

    attended: bool = False
    """While it is altered and something fires, nobody is given more time."""

    put_back_when_stopped: bool = False
    """Whether it is put back also when the work is left off: a nipple is closed, a plug is fitted."""

    @model_validator(mode="after")
    def _apart(self) -> Thing:
        if self.altered == self.restored:
            raise ValueError("altered and restored must be different words")
        return self

    @property
    def put_back_by_name(self) -> str:
        """The words that name it in its restored state: they cannot be stray ones."""
        return f"{self.said.lower()} {self.restored}"

    def named_in(self, words: tuple[str, ...]) -> bool:
        """Say whether words name it and its restored state."""
        return set(self.put_back_by_name.split()) <= set(words)

    def ask(self) -> Ask:
        """Return how its setting is asked for; AssertionError when it has none."""
        assert self.value is not None
        return Ask(quantity=self.value)


class Ask(Block):
    """One quantity to be called out."""

    quantity: str
    """Its name among the trade's quantities."""
    decimals: int | None = Field(default=None, ge=0, le=4)
    """Digits after the point that the instrument shows; the catalogue's when left out."""
    low: Exact | None = None
    """Below this the value is not believed and asked again; stop limits come first."""
    high: Exact | None = None
    """Above this the value is not believed and asked again; stop limits come first."""

    @model_validator(mode="after")
    def _ordered(self) -> Ask:
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("low must be below high")
        return self
