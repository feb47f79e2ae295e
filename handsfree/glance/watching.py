"""A visit as it is watched: keys come in from any thread, pictures go out to any, the visit's own decides."""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Protocol, get_args

import numpy as np

from handsfree.events.devices import DeviceChange
from handsfree.events.inputs import SigningRole
from handsfree.events.state import State
from handsfree.glance.key_names import HAZARD, STOP_BUTTON, WORD
from handsfree.glance.keypad_state import KeypadState, here, press
from handsfree.glance.notes import Notes, noticed
from handsfree.glance.picture import Glance, HearingStatus, Seal
from handsfree.glance.strokes import drawing_of, strokes_in
from handsfree.glance.view import glance
from handsfree.ledger import Head
from handsfree.photo_file import Photo
from handsfree.session.photos import wanted
from handsfree.session.plan import Plan
from handsfree.session.signing import may_sign

STALE_S = 3.0
"""A picture this old is covered: what it shows may be wrong by now."""
NOTICE_S = 60.0
"""How long a notice of the recogniser or the voice stays."""
MOST_PRESSES, PRESSES_A_TURN = 1_024, 64
"""Presses that wait, and that are taken in before the visit looks at anything else."""
MOST_DRAWINGS = 4
"""Signatures that wait, and photos."""
NO_SOUND_DB = -90.0
"""What the recogniser reports before it has heard anything."""
FRAME = 320
SHARE = 10
"""Voice and noise of an utterance: the loudest and the quietest tenth of its frames of 20 ms."""


class ShownVisit(Protocol):
    """What is watched."""

    @property
    def plan(self) -> Plan:
        """What the visit works from."""

    @property
    def state(self) -> State:
        """The present state."""

    def now(self) -> int:
        """Return the time of the visit, in ms."""

    def head(self) -> Head:
        """Return the count of entries and the digest of the last."""


class LiveScreen:
    """Keys for the conductor, and pictures for the screens; each picture is made from one state.

    `listening` says that there is a recogniser, `words` that letters may be typed as well.
    """

    def __init__(self, visit: ShownVisit, *, listening: bool, words: bool) -> None:
        self._visit, self._words = visit, words
        self._notes, self._keypad_state, self._sound = Notes(), KeypadState(), HearingStatus(listening=listening)
        self._seal = Seal()
        self._noticed_at = 0.0
        self._presses: queue.Queue[str] = queue.Queue(MOST_PRESSES)
        self._changes: queue.Queue[DeviceChange] = queue.Queue()
        self._drawings: queue.Queue[tuple[SigningRole, bytes]] = queue.Queue(MOST_DRAWINGS)
        self._photos: queue.Queue[Photo] = queue.Queue(MOST_DRAWINGS)
        self._inputs: set[str] = set()
        self._lock = threading.Lock()
        self._alive_at = time.monotonic()
        self.pressed = False
        """Whether any key was pressed yet."""
        self.changed = threading.Event()
        """Set whenever there is something new to see."""
        self.saw(())

    def saw(self, events: Sequence[Any]) -> None:
        """Take in what was recorded, inputs and decisions."""
        head = self._visit.head()
        with self._lock:
            self._notes = noticed(self._notes, events)
            self._seal = Seal(head.count, head.checksum[-7:])
        self.changed.set()

    def utterance(self, samples: np.ndarray[Any, Any]) -> None:
        """Take in the sound of an utterance: how far its voice stands over the noise around it."""
        whole = samples[: len(samples) // FRAME * FRAME].astype(float).reshape(-1, FRAME)
        if len(whole) < SHARE:
            return
        powers = np.sort(np.mean(whole**2, axis=1) + 1.0)
        count = len(powers) // SHARE
        ratio = 10 * float(np.log10(np.mean(powers[-count:]) / np.mean(powers[:count])))
        with self._lock:
            self._sound = replace(self._sound, voice_db=round(ratio, 1))

    def noise(self, decibels: float) -> None:
        """Take in how loud it is while nobody speaks, in dB of full scale."""
        if decibels > NO_SOUND_DB and decibels != self._sound.noise_db:
            with self._lock:
                self._sound = replace(self._sound, noise_db=decibels)

    def notice(self, text: str) -> None:
        """Take in a notice of the recogniser or the voice."""
        with self._lock:
            self._sound, self._noticed_at = replace(self._sound, trouble=text), time.monotonic()

    def failed(self, why: str) -> None:
        """Take in that nothing more can be recorded."""
        with self._lock:
            self._seal = replace(self._seal, failure=why)

    @property
    def over(self) -> bool:
        """Whether no key can come any more, and that was told."""
        return not self._inputs and self._changes.empty()

    def opened(self, device: str) -> None:
        """Take in that presses may come from an input: the keys, or the page."""
        self._inputs.add(device)

    def changed_input(self, change: DeviceChange, *, for_good: bool = False) -> None:
        """Take in, from whatever thread, that an input was lost or is back; one lost for good never comes back."""
        self._changes.put(change)
        if for_good:
            self._inputs.discard(change.device)
        self.changed.set()

    def change(self) -> DeviceChange | None:
        """Return that an input was lost or found, each time once, or None."""
        try:
            return self._changes.get_nowait()
        except queue.Empty:
            return None

    def sign(self, whose: str, drawing: bytes) -> None:
        """Take a signature, from whatever thread; what is none is thrown away, and so are more than may wait."""
        for one in get_args(SigningRole):
            if one == whose:
                with contextlib.suppress(ValueError, RecursionError, queue.Full):
                    self._drawings.put_nowait((one, drawing_of(strokes_in(drawing))))

    def photographed(self, gate: str, content: bytes) -> None:
        """Take a photo, from whatever thread; more than may wait are thrown away, and told."""
        try:
            self._photos.put_nowait(Photo(content, "page", gate))
        except queue.Full:
            self.notice("A photo came while others wait; it is not kept.")

    def photo(self) -> Photo | None:
        """Return the next photo, each once; or None."""
        try:
            return self._photos.get_nowait()
        except queue.Empty:
            return None

    @property
    def photos(self) -> tuple[tuple[str, str, int], ...]:
        """The gates whose photo may come now, what it is of, and how many came."""
        plan, state = self._visit.plan, self._visit.state
        return tuple(
            (gate, plan.fill(plan.gate(gate).gate.photo or ""), state.photos.get(gate, 0))
            for gate in wanted(plan, state)
        )

    def drawn(self) -> tuple[SigningRole, bytes] | None:
        """Return who has signed and what was drawn, each once, or None."""
        try:
            return self._drawings.get_nowait()
        except queue.Empty:
            return None

    @property
    def signs(self) -> tuple[SigningRole, ...]:
        """Who may sign now."""
        return may_sign(self._visit.plan, self._visit.state)

    def press(self, key: str) -> None:
        """Take a key, from whatever thread; letters only where words may be typed.

        More at once than a person can press are thrown away, all that wait: nobody knows what they mean.
        """
        if key.startswith(WORD) and not self._words:
            return
        try:
            self._presses.put_nowait(key)
        except queue.Full:
            self._forget_presses()
            if key == STOP_BUTTON or key.startswith(HAZARD):
                self._presses.put(key)

    def _forget_presses(self) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                self._presses.get_nowait()

    def line(self) -> str | None:
        """Return the words that the keys pressed come to, or None; the conductor asks at every turn."""
        self._alive_at = time.monotonic()
        for _ in range(PRESSES_A_TURN):
            try:
                key = self._presses.get_nowait()
            except queue.Empty:
                return None
            self.pressed = True
            visit = self._visit
            with self._lock:
                self._keypad_state, text = press(visit.plan, visit.state, self._keypad_state, key, visit.now())
            self.changed.set()
            if text:
                return text
        return None

    def picture(self) -> Glance:
        """Return the present picture."""
        visit = self._visit
        state, now = visit.state, visit.now()
        with self._lock:
            if self._sound.trouble and time.monotonic() - self._noticed_at > NOTICE_S:
                self._sound = replace(self._sound, trouble="")
            self._keypad_state = here(state, self._keypad_state, now)
            return glance(
                visit.plan,
                state,
                now,
                self._notes,
                keypad_state=self._keypad_state,
                seal=self._seal,
                sound=self._sound,
            )

    @property
    def firing(self) -> bool:
        """Whether something fires at the gate at hand, or was ordered off when the phone's sound was lost there.

        So the phone goes on with its alarm after the tool has stopped: nobody may have heard the order.
        """
        state, stopped = self._visit.state, self._notes.stopped
        if state.status == "stopped" and stopped is not None and stopped.why == "link-lost":
            return True
        return state.status == "running" and self._visit.plan.gate(state.gate).gate.firing

    def age(self) -> float:
        """Return for how many seconds the visit has given no sign of life; 0 once it is over."""
        return 0.0 if self._visit.state.status == "closed" else time.monotonic() - self._alive_at

    def old(self, age: float) -> tuple[str, str]:
        """Return the words that cover a picture so many seconds old."""
        show = self._visit.plan.catalogue.show
        return show("no-news", seconds=str(int(age))), show("old-picture")
