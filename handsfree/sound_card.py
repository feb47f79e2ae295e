"""The way to the sound devices: the library is loaded on first use, and its faults become one sentence.

`sounddevice` raises OSError at import when PortAudio is missing and freezes its list of devices at that
moment, so it is imported here only, as late as possible, and a fresh list needs a fresh process.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal

from handsfree.problem import Problem

Direction = Literal["input", "output"]
_CALLED = {"input": "microphone", "output": "loudspeaker"}


@dataclass(frozen=True)
class SoundDevice:
    """One end of the sound card: its name, the library's number for it, and the rate it prefers in Hz."""

    name: str
    number: int
    rate: int


def library() -> Any:
    """Return the sounddevice module; a missing PortAudio is a Problem with the command that installs it."""
    try:
        import sounddevice  # noqa: PLC0415 - see the module's first lines
    except OSError as fault:
        raise Problem(
            "the sound library PortAudio is missing",
            remedy="install it with: sudo apt install libportaudio2",
        ) from fault
    return sounddevice


@contextmanager
def quiet() -> Iterator[None]:
    """Keep PortAudio's own messages off the technician's screen; only for a process of sound alone."""
    kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def devices(direction: Direction) -> tuple[SoundDevice, ...]:
    """List the devices that can record ("input") or play ("output")."""
    return _usable(library().query_devices(), direction)


def device(name: str | None, direction: Direction) -> SoundDevice:
    """Find a device by its name or an unambiguous part of it; None means the system's default.

    Raises Problem when there is none, naming those there are.
    """
    card = library()
    if name is not None:
        return chosen(name, _usable(card.query_devices(), direction), direction)
    try:
        default = card.query_devices(kind=direction)
    except (card.PortAudioError, ValueError) as fault:
        raise Problem(f"no {_CALLED[direction]} found", remedy="plug one in, or go on in text") from fault
    return SoundDevice(default["name"], default["index"], round(default["default_samplerate"]))


def chosen(name: str, usable: Sequence[SoundDevice], direction: Direction) -> SoundDevice:
    """Choose by whole name, else by a part that only one device has; upper and lower case are alike."""
    wanted = name.casefold()
    exact = [each for each in usable if each.name.casefold() == wanted]
    partial = [each for each in usable if wanted in each.name.casefold()]
    for found in (exact, partial):
        if len(found) == 1 or (found and found is exact):
            return found[0]
    names = ", ".join(f'"{each.name}"' for each in usable) or "none"
    fault = "several devices are" if partial else "no device is"
    raise Problem(f'{fault} called "{name}"', remedy=f"choose one {_CALLED[direction]} of: {names}")


def _usable(listed: Sequence[dict[str, Any]], direction: Direction) -> tuple[SoundDevice, ...]:
    return tuple(
        SoundDevice(each["name"], each["index"], round(each["default_samplerate"]))
        for each in listed
        if each[f"max_{direction}_channels"] > 0
    )
