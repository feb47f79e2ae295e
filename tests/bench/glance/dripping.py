"""A thousand dripping connections against the phone's page: `python tests/bench/glance/dripping.py [seconds]`.

For 10 minutes, unless told otherwise, each connection sends one byte a second and comes back a second after it was
dropped, from fifty addresses. Prints, before, during and after: how long a key of the phone takes to show on its
page, how long after its end an utterance is heard, the load of the machine, and what the record of the visit
(which stands at a firing gate) says of alarms, stops and lost inputs. What is late before and after, too, is the
machine's. Of the slowest keys it tells where they waited: for the line to open, for the answer to the press, or
for the picture; and, as the machine's own share, how long an append to a file on the same disk took meanwhile.
"""

from __future__ import annotations

import contextlib
import http.client
import itertools
import json
import multiprocessing
import os
import queue
import resource
import socket
import ssl
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path.insert(0, str(ROOT / "tests" / "glance" / "support"))

from trusting import trusting  # noqa: E402

from handsfree.glance.authority import Authority, own_names  # noqa: E402
from handsfree.glance.presses import FOLLOW, code_of  # noqa: E402
from handsfree.hearing.listener import NothingSaid, SpeechBegan, Utterance  # noqa: E402
from handsfree.hearing.sources import Recording  # noqa: E402
from handsfree.hearing.worker import Hearing, HearingPlan, recogniser_of  # noqa: E402
from handsfree.ledger import read  # noqa: E402
from handsfree.session.rehearsal import Rehearsal  # noqa: E402
from handsfree.shipped import model_folder  # noqa: E402
from handsfree.speaking.voice import Voice  # noqa: E402
from handsfree.visit.folder import load_plan  # noqa: E402
from tests.programs import keyed_visit, page_address  # noqa: E402

PROCEDURE = ROOT / "tests" / "browser" / "burner-on.yaml"
JOB_SHEET = ROOT / "handsfree" / "demo" / "jobsheet.yaml"
CONNECTIONS, ADDRESSES = 1_000, 50
ANSWER_EACH_S = 45.0
PHASES = ("before", "during", "after")
RATE = 16_000
SLOWEST = 5


@dataclass
class Outcome:
    """Latencies in ms, before, during and after; what the record says."""

    keys: dict[str, list[float]] = field(default_factory=lambda: {phase: [] for phase in PHASES})
    voice: dict[str, list[float]] = field(default_factory=lambda: {phase: [] for phase in PHASES})
    load: dict[str, list[float]] = field(default_factory=lambda: {phase: [] for phase in PHASES})
    """Processes that want to run, of the whole machine."""
    trouble: list[str] = field(default_factory=list)
    """What the recogniser told beside what it heard: that it was lost."""
    kinds: list[str] = field(default_factory=list)
    handles: list[int] = field(default_factory=list)
    """Of the visit's process, once a second."""
    slowest: list[Press] = field(default_factory=list)
    """Of all phases."""
    disk: dict[str, list[float]] = field(default_factory=lambda: {phase: [] for phase in PHASES})
    """How long a line appended to a file on the visit's disk takes to lie there, in ms."""


@dataclass(frozen=True)
class Press:
    """Where a key waited, in ms."""

    line: float
    """Until the line was open and encrypted."""
    answer: float
    """Then until the page had taken the press."""
    picture: float
    """Then until the visit had acted and the page shown it."""
    at: str = ""
    """When: phase and second."""

    @property
    def whole(self) -> float:
        """All together."""
        return self.line + self.answer + self.picture


class Phone:
    """Presses keys of a visit's page and sees what they do."""

    def __init__(self, address: str, context: ssl.SSLContext) -> None:
        self._place, self._context = urlsplit(address).netloc, context
        _, _, self._key_code = urlsplit(address).fragment.partition(".")
        self._counts = itertools.count(1)
        self.pictures: queue.Queue[dict[str, object]] = queue.Queue()
        threading.Thread(target=self._follow, daemon=True).start()

    def _signed(self, key: str) -> dict[str, str]:
        count = next(self._counts)
        return {"X-Glance-Count": str(count), "X-Glance-Code": code_of(self._key_code, count, key)}

    def _ask(self, method: str, path: str, body: str | None, key: str) -> http.client.HTTPResponse:
        line = http.client.HTTPSConnection(self._place, timeout=30, context=self._context)
        line.request(method, path, body, self._signed(key))
        return line.getresponse()

    def _follow(self) -> None:
        while True:
            with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
                answer = self._ask("GET", "/news", None, FOLLOW)
                while line := answer.readline():
                    if line.startswith(b"data: "):
                        self.pictures.put(json.loads(line[6:]))
            time.sleep(0.1)

    def shows(self, wanted: object, seconds: float = 30) -> float:
        """Wait for a picture; return how long it took, in ms."""
        begun = time.monotonic()
        while not wanted(self.pictures.get(timeout=max(0.01, begun + seconds - time.monotonic()))):  # type: ignore[operator]
            pass
        return 1_000 * (time.monotonic() - begun)

    def press(self, key: str) -> tuple[float, float]:
        """Press once; return how long the line took to open, and then the answer to come, in ms."""
        begun = time.monotonic()
        line = http.client.HTTPSConnection(self._place, timeout=30, context=self._context)
        line.connect()
        opened = time.monotonic()
        line.request("POST", "/key", key, self._signed(key))
        answer = line.getresponse()
        assert answer.status == 204, answer.status
        line.close()
        return 1_000 * (opened - begun), 1_000 * (time.monotonic() - opened)

    def mark(self, at: str) -> Press:
        """Mark the next answer, and return how long it took until the page shows it."""
        with contextlib.suppress(queue.Empty):
            while True:
                self.pictures.get_nowait()
        before = self.pictures.get(timeout=30)["chosen"]
        line, answer = self.press("down")
        return Press(line, answer, self.shows(lambda picture: picture["chosen"] != before), at)


def disk_ms(file: Path) -> float:
    """Append a line as the record does, and return how long it took."""
    begun = time.monotonic()
    with file.open("ab") as log:
        log.write(b"x" * 500 + b"\n")
        log.flush()
        os.fsync(log.fileno())
    return 1_000 * (time.monotonic() - begun)


def drip(port: int, over: object) -> None:
    """Hold a thousand connections that send a byte a second each."""
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(4_096, most), most))
    lines: dict[socket.socket, float] = {}
    gone: list[float] = []
    places = itertools.cycle(f"127.0.0.{2 + number}" for number in range(ADDRESSES))
    while not over.is_set():  # type: ignore[attr-defined]
        gone = [at for at in gone if at > time.monotonic() - 1]
        for _ in range(min(40, CONNECTIONS - len(lines) - len(gone))):
            line = socket.socket()
            line.bind((next(places), 0))
            line.setblocking(False)
            with contextlib.suppress(BlockingIOError):
                line.connect(("127.0.0.1", port))
            lines[line] = time.monotonic()
        now = time.monotonic()
        for line, sent in list(lines.items()):
            if now - sent < 1:
                continue
            try:
                line.send(b"G")
                lines[line] = now
            except BlockingIOError:
                continue
            except OSError:
                line.close()
                del lines[line]
                gone.append(now)
        time.sleep(0.02)


@contextlib.contextmanager
def visit(work: Path) -> Iterator[tuple[subprocess.Popen[str], str, Path]]:
    """Begin a visit with its page; yield its process, address and folder."""
    folder = work / "visit"
    Authority.of_device(own_names("127.0.0.1"))
    phone = ("--plain", "--glance-web", "127.0.0.1:0")
    command = keyed_visit(PROCEDURE, JOB_SHEET, folder, "--unproven", *phone)
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE}
    with subprocess.Popen(command, text=True, **pipes) as process:  # type: ignore[call-overload]
        try:
            address = page_address(process)
            threading.Thread(target=process.stderr.read, daemon=True).start()
            yield process, address, folder
        finally:
            process.kill()


def spoken(seconds: float) -> Recording:
    """Return a phrase said every three seconds, for so long."""
    voice = Voice()
    sound = voice.render("cover removed")
    voice.close()
    assert sound is not None, "there is no voice: install espeak-ng"
    phrase = np.zeros(3 * RATE, np.int16)
    samples = sound.at_rate(RATE).samples
    phrase[: len(samples)] = samples
    return Recording(np.tile(phrase, round(seconds / 3) + 1), paced=True)


def measure(before_s: float, during_s: float) -> Outcome:
    """Run it all."""
    outcome, phase = Outcome(), "before"
    with tempfile.TemporaryDirectory() as work, visit(Path(work)) as (process, address, folder):
        plan, _ = load_plan(PROCEDURE, JOB_SHEET)
        hearing = Hearing(
            HearingPlan(
                spoken(2 * before_s + during_s + 60), partial(recogniser_of, model_folder(), plan.pronunciations)
            )
        )
        state = Rehearsal(plan, date(2026, 11, 28)).state
        hearing.listen_for(plan.grammar(state.question, state.gate).automaton)
        phone = Phone(address, trusting())
        phone.shows(lambda picture: picture["headline"] == "Cover off.", 60)
        process.stdin.write("cover removed\n")
        process.stdin.flush()
        phone.shows(lambda picture: picture["headline"] == "Burner steady?", 60)
        over = multiprocessing.get_context("spawn").Event()
        flood = multiprocessing.get_context("spawn").Process(
            target=drip, args=(urlsplit(address).port, over), daemon=True
        )
        begun = answered = time.monotonic()
        while (now := time.monotonic()) - begun < before_s + during_s + before_s:
            if phase == "before" and now - begun >= before_s:
                phase = "during"
                flood.start()
            if phase == "during" and now - begun >= before_s + during_s:
                phase = "after"
                over.set()
                flood.join(10)
                flood.kill()
            if now - answered > ANSWER_EACH_S:
                answered = now
                process.stdin.write("say again\n")
                process.stdin.flush()
            marked = phone.mark(f"{phase}, {now - begun:.0f} s")
            outcome.keys[phase].append(marked.whole)
            outcome.slowest = sorted([*outcome.slowest, marked], key=lambda one: -one.whole)[:SLOWEST]
            outcome.disk[phase].append(disk_ms(folder.with_name("disk")))
            outcome.load[phase].append(os.getloadavg()[0])
            outcome.handles.append(len(list(Path(f"/proc/{process.pid}/fd").iterdir())))
            while (event := hearing.next_event(0.0)) is not None:
                if isinstance(event, Utterance):
                    outcome.voice[phase].append(event.latency_ms)
                elif not isinstance(event, SpeechBegan | NothingSaid):
                    outcome.trouble.append(str(event))
            time.sleep(0.5)
        hearing.close()
        outcome.kinds = [entry.kind for entry in read(folder)]
    return outcome


def main() -> None:
    """Print the distributions."""
    during = float(sys.argv[1]) if len(sys.argv) > 1 else 600.0
    with tempfile.TemporaryDirectory() as state:
        os.environ["HANDSFREE_STATE"] = state
        outcome = measure(min(60.0, during), during)
    told = ("a key to the phone's page", outcome.keys), ("an utterance heard", outcome.voice)
    for what, found in (*told, ("a line to the disk", outcome.disk)):
        for phase in PHASES:
            ms = np.array(found[phase] or [np.nan])
            median, late = np.percentile(ms, [50, 95])
            spread = f"median {median:.0f} ms, 95 % within {late:.0f} ms, longest {ms.max():.0f} ms ({len(ms)})"
            print(f"{what:26} {phase:>6}: {spread}")
    for one in outcome.slowest:
        waited = f"the line {one.line:.0f} ms, the answer {one.answer:.0f} ms, the picture {one.picture:.0f} ms"
        print(f"a slow key ({one.at}): {waited}")
    loads = ", ".join(f"{phase} {np.mean(found or [np.nan]):.1f}" for phase, found in outcome.load.items())
    print(f"load of the machine, {os.cpu_count()} cores: {loads}")
    lost = outcome.kinds.count("device-lost")
    print(*outcome.trouble[:5], sep="\n")
    print(f"handles of the visit: {min(outcome.handles)} to {max(outcome.handles)}")
    print(
        f"lost inputs {lost}, alarms {outcome.kinds.count('tone-sounded')}, stops {outcome.kinds.count('stopped')}"
    )


if __name__ == "__main__":
    main()
