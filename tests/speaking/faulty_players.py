"""Stand-ins for the sound card's player, each with one fault."""

import time

from handsfree.problem import Problem


class Timed:
    """Speaks for as long as the sound lasts."""

    lost = False

    def __init__(self):
        self.until = 0.0

    @property
    def speaking(self):
        return time.monotonic() < self.until

    def play(self, sound):
        self.until = time.monotonic() + sound.duration_s

    def cut(self):
        self.until = 0.0


class HangsOnce(Timed):
    def __init__(self, memory):
        super().__init__()
        self.memory = memory

    def play(self, sound):
        if not self.memory.exists():
            self.memory.touch()
            time.sleep(60)
        super().play(sound)


class Unplugged(Timed):
    @property
    def lost(self):
        return self.speaking


def Missing():  # noqa: N802 - stands for a class
    raise Problem("no loudspeaker found")
