"""The supervisor of a child process: it starts one, hands on what it says, and replaces it when it dies or hangs.

Hearing and the loudspeaker both live behind one. What a message means, and what to do when a child has ended,
is for their `Charge` to say.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterable
from typing import Any, Generic, Protocol, TypeVar

from handsfree.child import Child, ChildDied

LOOK_S = 0.1
"""Between looks whether the child has hung, or the supervisor is to close."""
WAITING = 0.05
"""A child for which the processor works a smaller share of the time waits for something: it does not get on."""
MOST_PATIENCE = 4
"""After so many times its patience a child is replaced, however busy the machine is."""

End = TypeVar("End")


class Charge(Protocol[End]):
    """What a supervisor looks after; its own thread makes these calls."""

    def arguments(self) -> tuple[object, ...]:
        """Return the arguments for a new child's work."""

    def told_first(self) -> Iterable[object]:
        """Return the messages that a new child needs, as things stand now; called with the lock held."""

    def heard(self, message: Any) -> End | None:
        """Take in a message of the child; return why it is of no more use, or None to go on."""

    def ended(self, why: End | str) -> float | None:
        """Act on the end of a child; return the seconds before the next one starts, None for no next one.

        `why` is what `heard` returned, or says how the child died or for how long it has hung.
        """


class Supervisor(Generic[End]):
    """Keeps one child at work until it is closed, or until its charge gives up.

    A child must send something within `start_s` of its start, and then at least every `hung_after_s`; of the
    processor's own time where it has work and the machine is busy (`hangs`).
    """

    def __init__(
        self, name: str, work: Callable[..., None], charge: Charge[End], *, start_s: float, hung_after_s: float
    ) -> None:
        self.lock = threading.RLock()
        """Hold it to change together what a child is told and what the next one will be told first."""
        self._name, self._work, self._charge = name, work, charge
        self._start_s, self._hung_after_s = start_s, hung_after_s
        self._child: Child | None = None
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._supervise, name=name, daemon=True)

    def start(self) -> None:
        """Begin; the first child starts beside the caller."""
        self._thread.start()

    @property
    def process_id(self) -> int:
        """The number of the process that is at work now; 0 between two."""
        child = self._child
        return child.process_id if child else 0

    def tell(self, message: object) -> None:
        """Pass a message to the child, if there is one; that it has died is noticed elsewhere."""
        with self.lock, contextlib.suppress(ChildDied):
            if self._child is not None:
                self._child.send(message)

    def close(self) -> None:
        """End the child at once; the charge is not asked any more."""
        self._closing.set()
        self._thread.join()

    def _supervise(self) -> None:
        while not self._closing.is_set():
            child = Child(self._name, self._work, *self._charge.arguments())
            with self.lock:
                self._child = child
                for message in self._charge.told_first():
                    self.tell(message)
            try:
                why = self._listen(child)
            except ChildDied as death:
                why = str(death)
            child.kill()  # first, for whoever holds the lock may be waiting for it to read
            with self.lock:
                self._child = None
            child.stop()
            if why is None or self._closing.is_set():
                return
            pause_s = self._charge.ended(why)
            if pause_s is None:
                return
            self._closing.wait(pause_s)

    def _listen(self, child: Child) -> End | str | None:
        heard_of, limit_s, worked = time.monotonic(), self._start_s, child.worked_s()
        while not self._closing.is_set():
            message = child.receive(LOOK_S)
            now = time.monotonic()
            if message is not None:
                heard_of, limit_s, worked = now, self._hung_after_s, child.worked_s()
                why = self._charge.heard(message)
                if why is not None:
                    return why
            elif now - heard_of > limit_s and hangs(now - heard_of, _since(worked, child.worked_s()), limit_s):
                return f"has hung for {now - heard_of:.0f} s"
        return None


def hangs(silent_s: float, worked_s: float | None, patience_s: float) -> bool:
    """Say whether a child has hung that has been silent for so long, and for which the processor worked so long.

    On a busy machine one that has work gets on slowly: patience with it is counted in the processor's time, to a
    bound. One that waits for what does not come hardly works; one that goes round in a circle works on and on.
    Where nobody tells what it worked, the clock alone counts.
    """
    if silent_s <= patience_s:
        return False
    if worked_s is None or silent_s > MOST_PATIENCE * patience_s:
        return True
    return worked_s > patience_s or worked_s < WAITING * silent_s


def _since(before: float | None, now: float | None) -> float | None:
    return None if before is None or now is None else now - before
