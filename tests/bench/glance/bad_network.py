"""The phone's sound over a bad network: `unshare --net python tests/bench/glance/bad_network.py`, as root.

An emulator below TCP: phone and tool live in two network namespaces joined by two TUN devices, and what passes
between them is IP packets, each delayed by 20 ms and a little more, some of them lost, with a seed. (`tc netem`
does the same in the kernel; where it is compiled out, as in small virtual machines, it answers "qdisc kind is
unknown".) A client sends the page's frames over its WebSocket, one each 20 ms; printed is by how much later than
over the same line without any emulation the frames leave the page's process, as distributions: without loss, and
with 2 % of the packets lost in each direction.
"""

from __future__ import annotations

import asyncio
import ctypes
import fcntl
import heapq
import multiprocessing
import os
import random
import select
import struct
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[3]
for folder in ("glance", "session"):
    sys.path.insert(0, str(ROOT / "tests" / folder / "support"))

from rehearsed import at  # noqa: E402
from told import Told  # noqa: E402
from trusting import trusting  # noqa: E402
from websockets.asyncio.client import ClientConnection, connect  # noqa: E402

from handsfree.glance.authority import Authority, own_names  # noqa: E402
from handsfree.glance.phone_sound import PhoneSound  # noqa: E402
from handsfree.glance.presses import SOUND, code_of  # noqa: E402
from handsfree.glance.web import Page  # noqa: E402
from handsfree.hearing.phone_microphone import FRAME_BYTES  # noqa: E402

TOOL, PHONE = "10.77.0.1", "10.77.0.2"
DELAY_S, JITTER_S = 0.020, 0.005
SECONDS = 60.0
TUNSETIFF, IFF_TUN, IFF_NO_PI = 0x400454CA, 0x0001, 0x1000
CLONE_NEWNET = 0x40000000


def tun(name: str, own: str, other: str) -> int:
    """Make a TUN device in the namespace at hand; return its handle."""
    handle = os.open("/dev/net/tun", os.O_RDWR | os.O_NONBLOCK)
    fcntl.ioctl(handle, TUNSETIFF, struct.pack("16sH14x", name.encode(), IFF_TUN | IFF_NO_PI))
    for command in (
        ["addr", "add", own, "peer", other, "dev", name],
        ["link", "set", name, "up"],
        ["link", "set", "lo", "up"],
    ):
        subprocess.run(["ip", *command], check=True)
    return handle


def enter_new_namespace() -> None:
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.unshare(CLONE_NEWNET) != 0:
        raise OSError(ctypes.get_errno(), "a network namespace is not allowed here")


class Emulator:
    """Passes packets between two devices: later, and not all of them."""

    def __init__(self, ends: tuple[int, int], loss: float, *, delay_s: float, jitter_s: float) -> None:
        self._ends, self._loss, self._delay_s, self._jitter_s = ends, loss, delay_s, jitter_s
        self._dice = random.Random(17)
        self.passed = self.lost = 0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        self._over.set()
        self._thread.join()

    def _run(self) -> None:
        due: list[tuple[float, int, int, bytes]] = []
        last = {0: 0.0, 1: 0.0}
        number = 0
        while not self._over.is_set():
            patience = min(0.05, max(0.0, due[0][0] - time.monotonic())) if due else 0.05
            ready, _, _ = select.select(self._ends, [], [], patience)
            now = time.monotonic()
            for handle in ready:
                side = self._ends.index(handle)
                for _ in range(64):
                    try:
                        packet = os.read(handle, 2_048)
                    except BlockingIOError:
                        break
                    if self._dice.random() < self._loss:
                        self.lost += 1
                        continue
                    when = now + self._delay_s + self._dice.uniform(0, self._jitter_s)
                    last[side] = when = max(when, last[side])  # a queue keeps its order
                    number += 1
                    heapq.heappush(due, (when, number, 1 - side, packet))
            while due and due[0][0] <= time.monotonic():
                _, _, to, packet = heapq.heappop(due)
                try:
                    os.write(self._ends[to], packet)
                    self.passed += 1
                except (BlockingIOError, OSError):
                    self.lost += 1


def phone(url: str, seconds: float, handles: object) -> None:
    """Live in a namespace of its own; send frames as the page does, each with the time it was made."""
    enter_new_namespace()
    far = tun("phone0", PHONE, TOOL)
    handles.send_handle(far)  # type: ignore[attr-defined]
    asyncio.run(talk(url, seconds))


async def talk(url: str, seconds: float) -> None:
    place, key_code = url.split("#", maxsplit=1)[0], url.rpartition(".")[2]
    context = trusting()
    headers = {"X-Glance-Count": str(int(time.time())), "X-Glance-Code": ""}
    headers["X-Glance-Code"] = code_of(key_code, int(headers["X-Glance-Count"]), SOUND)
    asked = urllib.request.Request(f"{place}sound", b"", headers, method="POST")
    for _ in range(20):
        try:
            with urllib.request.urlopen(asked, timeout=10, context=context) as answer:  # noqa: ASYNC210
                ticket = answer.read().decode()
            break
        except OSError:
            await asyncio.sleep(0.5)
    where = place.replace("https:", "wss:") + f"sound?ticket={ticket}&session=7"
    async with connect(where, ssl=context, open_timeout=20, compression=None) as line:
        acknowledged = asyncio.create_task(hear(line))
        begun = time.monotonic()
        for number in range(round(seconds * 50)):
            await asyncio.sleep(max(0.0, begun + 0.02 * number - time.monotonic()))
            made = struct.pack("<d", time.monotonic())
            await line.send(struct.pack("<I", number) + made + bytes(FRAME_BYTES - len(made)))
        await asyncio.sleep(2)
        acknowledged.cancel()


async def hear(line: ClientConnection) -> None:
    """Take what the tool says, or nothing more would come through."""
    async for _ in line:
        pass


def run(loss: float, *, emulate: bool, seconds: float) -> tuple[np.ndarray, str]:
    """Return the delays of all frames in ms, and what the line did."""
    told, sound = Told(at("cover-off")), PhoneSound()
    delays: list[float] = []
    over = threading.Event()

    def listen() -> None:
        for block in sound.microphone.blocks():
            if over.is_set():
                return
            if not block.waited_s:
                (made,) = struct.unpack_from("<d", block.samples.astype("<i2").tobytes())
                delays.append(1_000 * (time.monotonic() - made))

    listener = threading.Thread(target=listen)
    listener.start()
    with Page(f"{TOOL}:0", told.live, told.plan.catalogue, sound) as page:
        assert page.served.wait(60)
        mine, theirs = multiprocessing.Pipe()
        child = multiprocessing.get_context("spawn").Process(
            target=phone, args=(page.url, seconds, _Sender(theirs))
        )
        child.start()
        far = receive_handle(mine)
        delay, jitter = (DELAY_S, JITTER_S) if emulate else (0.0, 0.0)
        emulator = Emulator((NEAR, far), loss if emulate else 0.0, delay_s=delay, jitter_s=jitter)
        child.join(seconds + 60)
        emulator.stop()
        os.close(far)
    over.set()
    listener.join()
    sound.close()
    return np.array(delays), f"{emulator.passed} packets passed, {emulator.lost} lost"


class _Sender:
    """Passes a handle to the parent by its number: the parent takes it from /proc."""

    def __init__(self, pipe: object) -> None:
        self._pipe = pipe

    def send_handle(self, handle: int) -> None:
        self._pipe.send((os.getpid(), handle))  # type: ignore[attr-defined]


def receive_handle(pipe: object) -> int:
    pid, number = pipe.recv()  # type: ignore[attr-defined]
    libc = ctypes.CDLL(None, use_errno=True)
    opened = libc.syscall(434, pid, 0)  # pidfd_open
    handle = libc.syscall(438, opened, number, 0)  # pidfd_getfd
    if handle < 0:
        raise OSError(ctypes.get_errno(), "the phone's device cannot be taken over")
    os.close(opened)
    return int(handle)


NEAR = -1


def main() -> None:
    """Print the distributions."""
    global NEAR  # noqa: PLW0603 - one device for all runs
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS
    NEAR = tun("tool0", TOOL, PHONE)
    with tempfile.TemporaryDirectory() as state:
        os.environ["HANDSFREE_STATE"] = state
        Authority.of_device(own_names(TOOL))
        plain, told = run(0.0, emulate=False, seconds=seconds)
        base = float(np.median(plain))
        show("the line itself", plain, told)
        for loss in (0.0, 0.02):
            found, told = run(loss, emulate=True, seconds=seconds)
            show(f"added, {1000 * DELAY_S:.0f} ms each way, {100 * loss:g} % loss", found - base, told)


def show(what: str, ms: np.ndarray, told: str) -> None:
    spread = ", ".join(f"p{p} {np.percentile(ms, p):.0f}" for p in (5, 50, 90, 95, 99))
    print(f"{what:38} {spread}, longest {ms.max():.0f} ms ({len(ms)} frames; {told})", flush=True)


if __name__ == "__main__":
    main()
