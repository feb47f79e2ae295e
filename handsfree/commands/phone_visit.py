"""A visit through a phone (`--sound phone`): its sound, what it says by itself, and waiting for it."""

from __future__ import annotations

import contextlib
import io
import sys
import time
import wave
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from handsfree.commands.showing import Screen
from handsfree.commands.visit_options import VisitOptions
from handsfree.glance.phone_sound import PhoneSound
from handsfree.problem import Problem
from handsfree.session.plan import Plan
from handsfree.speaking import tones
from handsfree.speaking.sound import Sound
from handsfree.speaking.voice import Voice

PAUSE_MS = 700
"""After what the phone says by itself, before it says it again."""
LOOK_S = 0.1


def wanted(options: VisitOptions) -> bool:
    """Say whether the phone is to be microphone and loudspeaker."""
    return options.sound == Path("phone")


@contextlib.contextmanager
def phone_sound(options: VisitOptions) -> Iterator[PhoneSound | None]:
    """Give the phone's sound where it is asked for; Problem when there is no page for it."""
    if not wanted(options):
        yield None
        return
    if options.glance_web is None:
        raise Problem("the phone's sound needs its page", remedy="add --glance-web 0.0.0.0:8750")
    sound = PhoneSound()
    try:
        yield sound
    finally:
        sound.close()


def switch_off(plan: Plan, voice: Voice | None, phone: PhoneSound | None) -> bytes:
    """Return what the phone says by itself when the link is lost (WAV): the alarm, then the order of a stop."""
    if phone is None:
        return b""
    alarm = tones.alarm()
    spoken = None if voice is None else voice.render(plan.catalogue.hazards["stop-work"].script)
    parts = [alarm.samples]
    if spoken is not None:
        parts.append(spoken.at_rate(alarm.rate).after_silence(200).samples)
    parts.append(np.zeros(alarm.rate * PAUSE_MS // 1000, np.int16))
    return wav(Sound(np.concatenate(parts), alarm.rate))


def wav(sound: Sound) -> bytes:
    """Return a sound as a WAV file."""
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(sound.rate)
        out.writeframes(sound.samples.astype("<i2").tobytes())
    return file.getvalue()


def wait_for_phone(phone: PhoneSound, screen: Screen) -> str:
    """Wait until a phone's sound is on, so that it says the first words too; any key begins without it.

    Returns what was said by keys meanwhile: it may be a stop, and is the visit's first answer.
    """
    sys.stderr.write("  Open the first address on the phone and touch Sound on; any key begins without it.\n")
    sys.stderr.flush()
    while not phone.connected.wait(LOOK_S):
        line = None if screen.keys is None else screen.keys.line()
        if line is not None or (screen.live is not None and screen.live.pressed):
            return (line or "").strip()
    time.sleep(LOOK_S)  # its first frames are on the way
    return ""
