"""The inputs that a visit may lose: which there are, and the news that one went or came back."""

from __future__ import annotations

from dataclasses import dataclass

HEARING_DEVICES = frozenset({"microphone", "recogniser"})
"""Without them nothing is heard, so that silence says nothing."""

HANDS = frozenset({"keys", "page"})
"""Keys and typed lines; the page of a phone."""


LINK = "link"
"""The line to a phone that is microphone and loudspeaker: lost when no sound has come for ten seconds."""


INSTRUMENT = "instrument"
"""An instrument whose rows are a second witness: without it the visit goes on as it would have without one."""


@dataclass(frozen=True)
class DeviceChange:
    """An input was lost, or is back."""

    device: str
    lost: bool
