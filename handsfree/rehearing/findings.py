"""What hearing a visit again brings to light, as plain data that is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from pydantic import TypeAdapter

FindingKind = Literal["otherwise", "not heard", "stop missed", "silence", "tone", "own voice", "used again"]
KINDS: tuple[FindingKind, ...] = get_args(FindingKind)

TOLD: dict[FindingKind, str] = {
    "otherwise": "Heard otherwise",
    "not heard": "Not in the sound",
    "stop missed": "Stop in the sound",
    "silence": "Silence kept",
    "tone": "A tone, no speech",
    "own voice": "Voice of the tool",
    "used again": "The same sound twice",
}
"""What each is called on a page."""


@dataclass(frozen=True)
class HeardAgainFinding:
    """One utterance whose sound does not carry what the record says of it.

    `seq` is its entry, `at` the visit's time (ms), `recorded` the words on record, `heard` what is heard now;
    `clip` names the sound.
    """

    kind: FindingKind
    seq: int
    at: int
    recorded: str
    heard: str
    says: str
    clip: str


@dataclass(frozen=True)
class HeardAgain:
    """A visit that was heard again: by what, how much of it, and what was found.

    `spoken` counts the utterances on record, `typed` the answers by keys, `without_sound` the utterances whose
    sound is not there or cannot be read, and `alike` those that are heard as they were recorded. `further` says
    whether a further recogniser was asked, `voice` whether the tool's own voice was compared.
    """

    model: str
    further: bool
    voice: bool
    spoken: int
    typed: int
    without_sound: int
    alike: int
    findings: tuple[HeardAgainFinding, ...]

    @property
    def sentence(self) -> str:
        """What was done and what came of it, in a sentence."""
        heard = self.spoken - self.without_sound
        counts = "; ".join(f"{TOLD[kind].lower()}: {len(of)}" for kind in KINDS if (of := self.of_kind(kind)))
        if not heard:
            before = f" Found while there was some: {counts}." if counts else ""
            return f"No sound of this visit is kept, so nothing could be heard again.{before}"
        lacking = f" {self.without_sound} have no sound." if self.without_sound else ""
        if not self.findings:
            return f"Heard again: {_utterances(heard)}, none is heard otherwise.{lacking}"
        return f"Heard again: {_utterances(heard)}. Of these {counts}.{lacking}"

    def of_kind(self, kind: FindingKind) -> tuple[HeardAgainFinding, ...]:
        """Return the findings of a kind, in the order of their entries."""
        return tuple(one for one in self.findings if one.kind == kind)

    def as_json(self) -> bytes:
        """Return it as it is kept."""
        return _ADAPTER.dump_json(self)


def from_json(data: bytes) -> HeardAgain:
    """Return what was kept; raise ValueError when it is none of this version."""
    return _ADAPTER.validate_json(data)


_ADAPTER = TypeAdapter(HeardAgain)


def _utterances(count: int) -> str:
    return "one utterance" if count == 1 else f"{count} utterances"
