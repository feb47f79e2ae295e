"""The voice: text to sound through pyttsx3 and espeak-ng, one prompt at a time, in a child process.

pyttsx3 2.99 drops prompts that are queued, never speaks again after it has saved a file, cannot be cut
off, and can hang. So it is used only to save one prompt to one file per call, in a process that is
replaced when it fails; what is rendered is checked for a plausible length and then kept.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import tempfile
import wave
from collections.abc import Callable
from contextlib import redirect_stdout, suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from handsfree.child import Child, ChildDied
from handsfree.speaking.sound import Sound

ENGINE_LIBRARIES = ("libespeak-ng.so.1", "libespeak.so.1")
NO_ENGINE = "no speech engine found, so prompts stay text; install one with: sudo apt install espeak-ng"
BROKEN_ENGINE = "the speech engine does not work, so prompts stay text"

START_PATIENCE_S = 20.0
RENDER_PATIENCE_S = 5.0
ATTEMPTS = 3
# At 200 words a minute and faster no word is shorter than this; measured minimum is given in the tests.
SHORTEST_WORD_S = 0.07
# The longest single word rendered at the slowest setting stays below this, its closing pause included.
LONGEST_CHARACTER_S = 0.5
SILENT_PEAK = 300
PROMPTS_KEPT = 200
"""About 15 MB; a day of read-backs, each new, would take hundreds."""


@dataclass(frozen=True)
class VoiceSettings:
    """Which espeak voice (a language, "+" and a variant if wanted), and how fast and loud it speaks."""

    name: str = "en-us"
    words_per_minute: int = 170
    volume: float = 1.0


class Voice:
    """Renders prompts and keeps the last few hundred; without an engine it renders nothing and says so once.

    `keep_in` is an optional folder where rendered prompts outlive the process.
    """

    def __init__(
        self,
        settings: VoiceSettings | None = None,
        keep_in: Path | None = None,
        engine: Callable[[Connection, VoiceSettings, Path], None] | None = None,
    ) -> None:
        self.settings = settings or VoiceSettings()
        self.notice: str | None = None
        """Why prompts stay text, in one sentence; None while the voice works."""
        self._engine = engine or serve_prompts
        self._keep_in = keep_in
        self._kept: dict[str, Sound] = {}
        self._child: Child | None = None
        # Owned here, since a child that is killed cannot tidy up.
        self._workshop = tempfile.TemporaryDirectory(prefix="handsfree-voice-")

    def render(self, text: str) -> Sound | None:
        """Return the spoken text, or None when there is no voice (then `notice` says why)."""
        if not text.strip() or self.notice is not None:
            return None
        sound = self._kept.get(text) or self._from_folder(text)
        if sound is None:
            sound = self._rendered(text)
            if sound is not None:
                self._to_folder(text, sound)
        if sound is not None:
            self._kept.pop(text, None)  # the last one rendered stands last
            self._kept[text] = sound
            if len(self._kept) > PROMPTS_KEPT:
                del self._kept[next(iter(self._kept))]
        return sound

    def close(self) -> None:
        """End the child process and remove its files."""
        self._stop()
        self._workshop.cleanup()

    def _stop(self) -> None:
        if self._child is not None:
            self._child.stop()
            self._child = None

    def _rendered(self, text: str) -> Sound | None:
        for _ in range(ATTEMPTS):
            try:
                sound = self._attempt(text)
            except ChildDied:
                sound = None
            if self.notice is not None:
                break
            if sound is not None and plausible(sound, text):
                return sound
            self._stop()
        self.notice = self.notice or BROKEN_ENGINE
        self._stop()
        return None

    def _attempt(self, text: str) -> Sound | None:
        if self._child is None:
            self._child = Child("handsfree voice", self._engine, self.settings, Path(self._workshop.name))
            ready = self._child.receive(START_PATIENCE_S)
            if isinstance(ready, str):
                self.notice = ready
            if ready is not True:
                return None
        self._child.send(text)
        answer = self._child.receive(RENDER_PATIENCE_S)
        if not isinstance(answer, tuple):
            return None
        pcm, rate = answer
        return Sound(np.frombuffer(pcm, np.int16), rate).trimmed()

    def _file(self, text: str) -> Path | None:
        if self._keep_in is None:
            return None
        digest = hashlib.sha256(repr((self.settings, text)).encode()).hexdigest()
        return self._keep_in / f"{digest[:32]}.wav"

    def _from_folder(self, text: str) -> Sound | None:
        path = self._file(text)
        if path is None:
            return None
        # A missing or damaged file is simply rendered again.
        with suppress(OSError, wave.Error, EOFError):
            sound = _read_wave(path)
            return sound if plausible(sound, text) else None
        return None

    def _to_folder(self, text: str, sound: Sound) -> None:
        path = self._file(text)
        if path is None:
            return
        # The folder only saves time: a full or read-only disk must not silence the voice.
        with suppress(OSError), tempfile.TemporaryDirectory(dir=path.parent) as folder:
            fresh = Path(folder) / path.name
            with wave.open(str(fresh), "wb") as file:
                file.setparams((1, 2, sound.rate, 0, "NONE", "not compressed"))
                file.writeframes(sound.samples.tobytes())
            fresh.replace(path)


def plausible(sound: Sound, text: str) -> bool:
    """Say whether the sound can be the whole text: neither cut short, nor endless, nor silent."""
    shortest = SHORTEST_WORD_S * len(text.split())
    longest = 1.0 + LONGEST_CHARACTER_S * len(text)
    loud = bool(len(sound.samples)) and int(np.abs(sound.samples.astype(np.int32)).max()) > SILENT_PEAK
    return loud and shortest <= sound.duration_s <= longest


def load_engine(libraries: tuple[str, ...] = ENGINE_LIBRARIES) -> str | None:
    """Load the espeak library for pyttsx3 to find; return where its data is, or None for the system's place.

    Raises OSError when neither the system nor the `espeakng_loader` package has it. The package's library
    bears the system library's name inside, so loading it first, for all, makes pyttsx3 find it.
    """
    for name in libraries:
        with suppress(OSError):
            ctypes.CDLL(name, mode=ctypes.RTLD_GLOBAL)
            return None
    try:
        import espeakng_loader  # noqa: PLC0415 - optional, and only wanted when the system has none
    except ImportError as missing:
        raise OSError(NO_ENGINE) from missing
    ctypes.CDLL(str(espeakng_loader.get_library_path()), mode=ctypes.RTLD_GLOBAL)
    return str(espeakng_loader.get_data_path())


def serve_prompts(pipe: Connection, settings: VoiceSettings, workshop: Path) -> None:
    """Run in the child: send True when ready, else a sentence; then answer each text with (PCM, rate)."""
    try:
        data = load_engine()
        if data is not None:
            os.environ["ESPEAK_DATA_PATH"] = data
        from pyttsx3.engine import Engine  # noqa: PLC0415 - looks for the library at import
    except (OSError, ImportError, RuntimeError):
        pipe.send(NO_ENGINE)
        return
    path = workshop / "prompt.wav"
    faults: list[object] = []
    with Path(os.devnull).open("w") as nowhere, redirect_stdout(nowhere):  # the driver prints where it saved
        engine = Engine("espeak")
        engine.connect("error", lambda **fault: faults.append(fault))
        engine.setProperty("voice", settings.name)
        engine.setProperty("rate", settings.words_per_minute)
        engine.setProperty("volume", settings.volume)
        engine.save_to_file("ready", str(path))
        engine.runAndWait()
        if faults:  # the driver would go on with another voice or speed
            pipe.send(f"{BROKEN_ENGINE}: the voice {settings.name!r} cannot be set")
            return
        pipe.send(True)
        while True:
            text = pipe.recv()
            path.unlink(missing_ok=True)
            engine.save_to_file(text, str(path))
            engine.runAndWait()
            pipe.send(None if faults or not path.exists() else _wave_parts(path))


def _read_wave(path: Path) -> Sound:
    pcm, rate = _wave_parts(path)
    return Sound(np.frombuffer(pcm, np.int16), rate)


def _wave_parts(path: Path) -> tuple[bytes, int]:
    with wave.open(str(path), "rb") as file:
        return file.readframes(file.getnframes()), file.getframerate()
