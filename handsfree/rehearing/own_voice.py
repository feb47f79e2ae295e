"""The tool's own voice, rendered again here, and whether a clip holds it."""

from __future__ import annotations

import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable
from multiprocessing import Pipe
from pathlib import Path

import numpy as np

from handsfree.hearing.resampling import RATE, Samples
from handsfree.rehearing.clips import OWN, ROOM_TAPS, Wave, compared, explained
from handsfree.speaking.sound import Sound
from handsfree.speaking.voice import RENDER_PATIENCE_S, START_PATIENCE_S, VoiceSettings, serve_prompts

KEPT = 400

Render = Callable[[str], Samples | None]
"""Text -> how the tool says it (int16, 16 kHz); None when it cannot."""


class OwnVoiceHeard:
    """Looks for the tool's voice in clips; each sentence is rendered once."""

    def __init__(self, render: Render) -> None:
        self._render = render
        self._known: OrderedDict[str, Wave | None] = OrderedDict()

    def in_clip(self, clip: Wave, texts: Iterable[str]) -> str:
        """Return the first of the texts that the tool's voice says in a clip; empty when there is none."""
        for text in dict.fromkeys(texts):
            known = self._wave(text)
            if known is not None and explained(clip, known, ROOM_TAPS) >= OWN:
                return text
        return ""

    def _wave(self, text: str) -> Wave | None:
        if text not in self._known:
            sound = self._render(text)
            self._known[text] = None if sound is None or not sound.size else compared(sound)
            while len(self._known) > KEPT:
                self._known.popitem(last=False)
        return self._known[text]


class RenderedHere:
    """The tool's voice within this process, which must be one that may be lost: speech engines can hang.

    A process with limits may have no child of its own, as `Voice` has one.
    """

    def __init__(self, settings: VoiceSettings | None = None) -> None:
        self._pipe, theirs = Pipe()
        self._workshop = tempfile.TemporaryDirectory(prefix="handsfree-voice-")
        arguments = (theirs, settings or VoiceSettings(), Path(self._workshop.name))
        threading.Thread(target=serve_prompts, args=arguments, name="own voice", daemon=True).start()
        self.works = self._answer(START_PATIENCE_S) is True
        """Whether there is a speech engine here."""

    def __call__(self, text: str) -> Samples | None:
        """Return how the tool says a text; None when it cannot."""
        if not self.works or not text.strip():
            return None
        self._pipe.send(text)
        answer = self._answer(RENDER_PATIENCE_S)
        if not isinstance(answer, tuple):
            self.works = False  # an answer that comes late would be taken for the next
            return None
        pcm, rate = answer
        return Sound(np.frombuffer(pcm, np.int16), rate).trimmed().at_rate(RATE).samples

    def _answer(self, patience_s: float) -> object:
        return self._pipe.recv() if self._pipe.poll(patience_s) else None
