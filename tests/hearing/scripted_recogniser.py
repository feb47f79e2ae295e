"""A recogniser that hears what a script says, so that the listener's and the worker's rules stand alone."""

import os
import signal
import time
from decimal import Decimal

import numpy as np

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.microphone import MicrophoneLost
from handsfree.hearing.sources import Recording
from handsfree.problem import Problem

PATIENCE_S = 1.0
"""What the tests of faults have with a child that says nothing."""
HOT = 12_000
"""Samples louder than this are the script's speech: each run of them is the next word."""


def alternative(*words, score="0"):
    spoken = tuple(SpokenWord(word, 100 * n, 100 * n + 90, Decimal(1)) for n, word in enumerate(words))
    return Hypothesis(spoken, Decimal(score))


class ScriptedRecogniser:
    """Reads the words off the sound itself: a word is a burst, its pitch says which (see `said`)."""

    def __init__(self, words=()):
        self.words = tuple(words)
        self.grammars = []
        self.sound = b""

    def listen_for(self, automaton):
        self.grammars.append(automaton)
        self.sound = b""

    def feed(self, pcm):
        self.sound += pcm

    def partial(self):
        return self._words()

    def finish(self):
        words = self._words()
        self.sound = b""
        return self._heard(words, self.grammars[-1])

    def beside(self, automaton, *, quick=False):
        other = ScriptedRecogniser(self.words)
        other.listen_for(automaton)
        return other

    def ahead(self, samples, grammar, noise):
        return None

    def weigh(self, samples, heard, grammar, noise, ahead=None):
        return heard, None

    def _heard(self, words, automaton):
        if not words:
            return ()
        return (alternative(*words) if automaton.accepts(words) else alternative("[unk]"),)

    def _words(self):
        samples = np.frombuffer(self.sound, np.int16)
        blocks = samples[: len(samples) // 320 * 320].reshape(-1, 320).astype(float)
        loud = np.abs(blocks).max(axis=1) > HOT if len(blocks) else np.zeros(0, bool)
        words, begin = [], None
        for number, on in enumerate([*loud, False]):
            if on and begin is None:
                begin = number
            if not on and begin is not None:
                # Hash of pitch: the number of sign changes a block tells the word.
                middle = blocks[(begin + number) // 2]
                changes = int(np.sum(np.diff(np.sign(middle)) != 0))
                words.append(self.words[round((changes - 20) / 4) % len(self.words)])
                begin = None
        return tuple(words)


def said(script, *parts):
    """Sound for ScriptedEars(script): words as bursts of harmonics of 0.3 s, numbers as pauses in seconds."""
    pieces = []
    for part in parts:
        if isinstance(part, str):
            time_s = np.arange(4800) / 16000
            pitch = 500 + 100 * script.index(part)
            wave = np.sign(np.sin(2 * np.pi * pitch * time_s + 0.1)) * (
                16000 + 4000 * np.sin(2 * np.pi * 40 * time_s)
            )
            pieces += [wave, np.zeros(640)]
        else:
            pieces.append(np.zeros(round(part * 16000)))
    wave = np.concatenate(pieces) + np.random.default_rng(5).normal(0, 20, sum(map(len, pieces)))
    return np.clip(wave, -32768, 32767).astype(np.int16)


class FaultyRecogniser(ScriptedRecogniser):
    """Dies, hangs or is slow once, natively, when it first hears speech; a file remembers that it has."""

    def __init__(self, words, fault, memory):
        super().__init__(words)
        self.fault, self.memory = fault, memory

    def feed(self, pcm):
        super().feed(pcm)
        if self.memory.exists() or not self._words():
            return
        self.memory.touch()
        if self.fault == "abort":
            os.abort()
        elif self.fault == "segfault":
            os.kill(os.getpid(), signal.SIGSEGV)
        elif self.fault == "hang":
            time.sleep(60)
        elif self.fault == "circle":
            while True:
                pass
        elif self.fault == "slow":  # as on a busy machine: a quarter of the processor, for twice the patience
            until = time.monotonic() + 2 * PATIENCE_S
            while time.monotonic() < until:
                worked = time.process_time()
                while time.process_time() < worked + 0.02:
                    pass
                time.sleep(0.06)


class BrokenRecogniser(ScriptedRecogniser):
    """Dies whenever it is made."""

    def __init__(self):
        super().__init__()
        os.abort()


class Unplugged:
    """A live source that is pulled out after its sound, and is back when asked again later."""

    name = "scripted microphone"
    live = True

    def __init__(self, samples, memory):
        self.samples, self.memory = samples, memory

    def blocks(self, from_ms=0):
        times = len(self.memory.read_text()) if self.memory.exists() else 0
        self.memory.write_text("x" * (times + 1))
        if times == 1:
            raise Problem("no microphone found")
        for block in Recording(self.samples, paced=True).blocks():
            yield type(block)(block.samples, block.start_ms + from_ms, block.arrived, block.overflow)
        raise MicrophoneLost("no sound has come for 1 s")
