"""The picture as a page for a phone clipped up in the closet: news as it comes, and keys for who has the token.

Nothing here asks anything of another machine. The page is served by a process of its own (`page_process.py`),
which is replaced when it ends or hangs. One printed address has the view code behind its `#`, the other the key
code too. Keys need encryption, by a certificate of this device's authority (`authority.py`); without it the page
only shows, at a plain address, which also offers the authority to phones.
"""

from __future__ import annotations

import json
import secrets
import socket
import threading
import time
from dataclasses import asdict, dataclass
from types import TracebackType
from typing import Any, Self

from handsfree.events.devices import LINK, DeviceChange
from handsfree.events.inputs import SigningRole
from handsfree.glance.authority import Authority, ServerIdentity, own_names
from handsfree.glance.page_process import (
    Facts,
    KeyCodeShown,
    News,
    NewsFollowed,
    PageBeat,
    Parted,
    Photographed,
    Pressed,
    Signed,
    attend_page,
)
from handsfree.glance.phone_sound import LINK_LOST_S, PhoneSound, Played, SoundChanged
from handsfree.glance.picture import Glance
from handsfree.glance.view import clock
from handsfree.glance.watching import LiveScreen
from handsfree.lexicon.catalogue import Catalogue, sentence_case
from handsfree.problem import Problem
from handsfree.serving import listen, with_known
from handsfree.supervisor import Supervisor

ALIVE_S = 1.0
"""A visit silent for longer sends nothing."""
PERIOD_S, BEAT_S = 0.2, 1.0
"""Between looks at the picture; the longest between two sendings."""
START_PATIENCE_S, HUNG_AFTER_S = 60.0, 8.0
PARTING_S = 1.5
"""The most that the last picture may take to reach the phones."""
FIRST_RETRY_S, LAST_RETRY_S = 0.2, 5.0
"""Before a process that ended is replaced."""
FOUND_AFTER_S, LATEST_FOUND_S = 1.0, 60.0
"""A new process counts as found when it has served for so long; twice as long after each loss, so that whoever can
make it end cannot keep the tool talking."""
CODE_BYTES = 12
WORDS = {
    "stop": "stop",
    "hazards": "hazards",
    "enter": "key-enter",
    "takes-back": "takes-back",
    "previous": "previous",
    "next": "next",
    "keys": "keys",
    "view-only": "view-only",
    "not-encrypted": "not-encrypted",
    "certificate": "certificate",
    "not-taken": "not-taken",
    "sign-again": "sign-again",
    "sign-take": "sign-take",
    "photo-sent": "photo-sent",
    "photo-not-taken": "photo-not-taken",
    "sound-on": "sound-on",
    "sound-runs": "sound-runs",
    "sound-refused": "sound-refused",
    "sound-away": "sound-away",
    "sound-taken": "sound-taken",
    "switch-off": "switch-off",
    "link-lost": "link-lost",
    "no-code": "no-code",
    "visit-over": "visit-over",
    "no-news": "no-news",
    "old-picture": "old-picture",
}
"""The page's own words -> the catalogue's labels."""


class Page:
    """Serves one watched visit at an address, from a process of its own, until it is left."""

    def __init__(
        self,
        address: str,
        live: LiveScreen,
        catalogue: Catalogue,
        sound: PhoneSound | None = None,
        switch_off: bytes = b"",
    ) -> None:
        """Take "HOST:PORT", host empty for all addresses and port 0 for any; Problem when it cannot be had.

        With `sound` the phone is microphone and loudspeaker; `switch_off` (WAV) is what it says by itself then.
        """
        host, port = place_of(address)
        self._listener = listen(host, port)
        self._live, self._catalogue, self._sound, self._switch_off = live, catalogue, sound, switch_off
        self.view_code, self.key_code = secrets.token_urlsafe(CODE_BYTES), secrets.token_urlsafe(CODE_BYTES)
        self._vouched = vouched_at(host)
        self.fingerprint, self.why_view_only = self._vouched.fingerprint, self._vouched.why_view_only
        """SHA-256 of the device's authority; why there is no encryption, and so no keys, a sentence."""
        place = f"{self._vouched.shown}:{self._listener.getsockname()[1]}/"
        scheme = "http" if self.why_view_only else "https"
        self.plain_url = f"http://{place}#{self.view_code}"
        """Of the page that is not encrypted: it only shows, and offers the certificate."""
        self.view_url = f"{scheme}://{place}#{self.view_code}"
        """Of the page to look at."""
        self.url = self.view_url if self.why_view_only else f"{self.view_url}.{self.key_code}"
        """Of the page with keys, where it is encrypted."""
        self.followed = threading.Event()
        """Set once a phone follows the news."""
        self.served = threading.Event()
        """Set once the page is served."""
        self._count, self._deaths = 0, 0
        self._known: tuple[str, ...] = ()
        self._lost, self._serving_since, self._link_lost = False, 0.0, False
        self._parted, self._over = threading.Event(), threading.Event()
        self._supervisor: Supervisor[None] = Supervisor(
            "handsfree page", attend_page, self, start_s=START_PATIENCE_S, hung_after_s=HUNG_AFTER_S
        )
        self._telling = threading.Thread(target=self._tell, name="handsfree page news", daemon=True)

    @property
    def process_id(self) -> int:
        """The number of the process that serves now; 0 between two."""
        return self._supervisor.process_id

    def __enter__(self) -> Self:
        self._live.opened("page")
        self._supervisor.start()
        self._telling.start()
        if self._sound is not None:
            threading.Thread(
                target=self._speak, args=(self._sound,), name="handsfree phone voice", daemon=True
            ).start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._telling.join(PARTING_S)
        if self._sound is not None:
            self._sound.wishes.put(None)
        self._supervisor.close()
        self._listener.close()

    def arguments(self) -> tuple[object, ...]:
        """Return what a new process is to work with; for the supervisor."""
        self._serving_since = 0.0
        words = json.dumps(self._words()).encode()
        codes = self.view_code, self.key_code, self._count
        proof = self._vouched.identity, self._vouched.certificate
        facts = Facts(*codes, words, *proof, self._switch_off, self._known)
        return self._listener, facts, None if self._sound is None else self._sound.theirs

    def told_first(self) -> tuple[object, ...]:
        """Return nothing: the next picture comes within a second; for the supervisor."""
        return ()

    def heard(  # noqa: C901 - one case for each message
        self,
        message: Pressed
        | Signed
        | Photographed
        | KeyCodeShown
        | NewsFollowed
        | PageBeat
        | Parted
        | SoundChanged
        | Played,
    ) -> None:
        """Take in a message of the process; for the supervisor."""
        match message:
            case Pressed(key=key, count=count):
                self._count = max(count, self._count)
                self._live.press(key)
            case Signed(whose=whose, drawing=drawing, count=count):
                self._count = max(count, self._count)
                self._live.sign(whose, drawing)
            case Photographed(gate=gate, photo=photo, count=count):
                self._count = max(count, self._count)
                self._live.photographed(gate, photo)
            case KeyCodeShown(address=address):
                self._known = with_known(self._known, address)
            case NewsFollowed():
                self.followed.set()
            case Parted():
                self._parted.set()
            case PageBeat(frames=frames):
                self._serves()
                if self._sound is not None:
                    self._sound.came(frames)
            case SoundChanged(says=says):
                self._sound_told(message)
                if says:
                    self._live.notice(f"{self._catalogue.glance.devices['link']}: {says}")
            case Played():
                self._sound_told(message)

    def ended(self, why: str | None) -> float:
        """Tell that the page is lost, and say when the next process starts; for the supervisor."""
        self._deaths += 1
        if self._sound is not None:
            self._sound.lost()
        if not self._lost:
            self._lost = True
            self._live.changed_input(DeviceChange("page", lost=True))
        self._live.notice(f"{self._catalogue.glance.devices['page']}: {why}")
        return float(min(FIRST_RETRY_S * 2 ** min(self._deaths - 1, 9), LAST_RETRY_S))

    def _serves(self) -> None:
        """Take in a sign of life; after a loss the page counts as found when it has served for a while."""
        self.served.set()
        now = time.monotonic()
        self._serving_since = self._serving_since or now
        wanted = min(FOUND_AFTER_S * 2 ** min(self._deaths, 9), LATEST_FOUND_S)
        if self._lost and now - self._serving_since >= wanted:
            self._lost = False
            self._live.changed_input(DeviceChange("page", lost=False))

    def _sound_told(self, message: SoundChanged | Played) -> None:
        if self._sound is not None:
            self._sound.heard(message)

    def _watch_link(self) -> None:
        """Tell that the link for sound is lost, or is back, each once."""
        if self._sound is None:
            return
        lost = self._sound.silent_s > LINK_LOST_S
        if lost != self._link_lost:
            self._link_lost = lost
            self._live.changed_input(DeviceChange(LINK, lost=lost))

    def _speak(self, sound: PhoneSound) -> None:
        """Pass on what the phone is to say; from a thread of its own, since a process that hangs takes nothing."""
        while (wish := sound.wishes.get()) is not None:
            self._supervisor.tell(wish)

    def _tell(self) -> None:
        """Tell the process what there is to see, while the visit gives signs of life; then the last picture."""
        told, told_at = b"", 0.0
        while not self._over.wait(PERIOD_S):
            self._watch_link()
            if self._live.age() > ALIVE_S:
                if told:  # whoever comes now is not to take the last picture for a new one
                    told = b""
                    self._supervisor.tell(News(told))
                continue
            picture = self._picture()
            if picture != told or time.monotonic() - told_at >= BEAT_S:
                told, told_at = picture, time.monotonic()
                self._supervisor.tell(News(told))
        self._supervisor.tell(News(self._picture(), over=True))
        self._parted.wait(PARTING_S)

    def _words(self) -> dict[str, str]:
        return {name: self._catalogue.glance.labels[label] for name, label in WORDS.items()}

    def _photo(self, what: str, came: int) -> str:
        return self._catalogue.show("photo-again" if came else "photo", what=what)

    def _role(self, whose: SigningRole) -> str:
        return sentence_case(self._catalogue.say(f"signs-{whose}"))

    def _picture(self) -> bytes:
        picture: Glance = self._live.picture()
        enter = self._catalogue.show("key-enter")
        told: dict[str, Any] = {
            **asdict(picture),
            "language": self._catalogue.glance.tag,
            "left": "" if picture.bar is None else clock(picture.bar.left_ms),
            "gone": 0.0 if picture.bar is None else picture.bar.gone,
            "enter": next((key.does for key in picture.keys if key.key == enter), ""),
            "words": self._words(),
            "firing": self._live.firing,
            "sound": self._sound is not None,
            "photos": [[one, self._photo(what, came), came] for one, what, came in self._live.photos],
            "signs": [[one, self._catalogue.show("sign", who=self._role(one))] for one in self._live.signs],
        }
        return json.dumps(told).encode()


def place_of(text: str) -> tuple[str, int]:
    """Return host and port of "HOST:PORT", the host empty for all addresses; Problem when it is none."""
    host, colon, port = text.rpartition(":")
    if not colon or not port.isdecimal() or len(port) > 5 or int(port) > 65_535:
        raise Problem(
            f"{text!r} is no address", remedy="write it like 0.0.0.0:8750, or 127.0.0.1:8750 for here alone"
        )
    return host, int(port)


@dataclass(frozen=True)
class Vouched:
    """What a page proves itself with where it is shown; without an identity it is view only."""

    shown: str
    identity: ServerIdentity | None = None
    certificate: bytes = b""
    fingerprint: str = ""
    why_view_only: str = ""


def vouched_at(host: str) -> Vouched:
    """Return what the device's authority vouches for a page with, if it covers the address that is shown."""
    shown = own_address() if host in {"", "0.0.0.0"} else host  # noqa: S104 - compared, not bound
    names = own_names(shown, own_address())
    try:
        authority = Authority.of_device(names)
    except Problem as problem:
        return Vouched(shown, why_view_only=problem.sentence())
    if authority.covers(shown):
        return Vouched(shown, authority.identity_for(names), authority.file, authority.fingerprint)
    why = f"the device's certificate does not cover {shown}, or has ended; make a new one and put it on the "
    return Vouched(shown, None, authority.file, authority.fingerprint, f"{why}phones: handsfree phone --renew")


def has_keys(address: str) -> bool:
    """Say whether a page at "HOST:PORT" will have keys; Problem when that is no address."""
    return not vouched_at(place_of(address)[0]).why_view_only


def own_address() -> str:
    """Return this machine's address in its network; no packet is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address kept for documentation (RFC 5737)
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])
