"""The door of the phone's page under a flood: `python tests/bench/glance/knocking.py [seconds [contenders]]`.

The flood of `dripping.py` (a thousand connections that come again) against the page's server without a visit.
Prints how long a whole encrypted request from a known address takes, quiet and flooded; how many a second were let
in, and what that cost of the processor; how long the system's queue was, and how late the loop answered.
`contenders` processes that do nothing but compute share the server's core, as on a device that is busy: a request
then waits for all who stand in the queue before it, each at what letting one in costs.
"""

from __future__ import annotations

import http.client
import multiprocessing
import os
import resource
import socket
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[3]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "glance" / "support")]

from starlette.responses import PlainTextResponse  # noqa: E402
from trusting import trusting  # noqa: E402

from handsfree import doorway  # noqa: E402
from handsfree.glance.authority import Authority, own_names  # noqa: E402
from handsfree.glance.page_process import MOST_FILES, NICENESS  # noqa: E402
from handsfree.glance.site import LIMITS  # noqa: E402
from handsfree.serving import Server, listen  # noqa: E402
from tests.bench.glance.dripping import drip  # noqa: E402

HOST = "127.0.0.1"
QUIET_REQUESTS = 20
EVERY_S = 0.3
STARTING_S = 3.0


def serve(listener: socket.socket, identity: tuple[bytes, bytes], pipe: Connection, shared: bool) -> None:
    """Serve like the page's process; from the first message to the second count what it costs."""
    os.nice(NICENESS)
    if shared:
        os.sched_setaffinity(0, {0})
    resource.setrlimit(resource.RLIMIT_NOFILE, (MOST_FILES, MOST_FILES))
    let_in, real = [0], doorway.Doorway._let_in

    def counted(self: doorway.Doorway, line: socket.socket) -> Any:
        let_in[0] += 1
        return real(self, line)

    doorway.Doorway._let_in = counted  # type: ignore[method-assign]
    with Server(listener, LIMITS, doorway.tls_context(*identity)) as server:
        server.know(HOST)
        server.start(PlainTextResponse("here", headers={"connection": "close"}))
        begun_s, late_s = None, 0.0
        while True:
            if pipe.poll(0.1):
                pipe.recv()
                if begun_s is not None:
                    break
                begun_s, let_in[0], late_s = time.process_time(), 0, 0.0
            asked = time.monotonic()
            server.responsive(60)
            late_s = max(late_s, time.monotonic() - asked)
        pipe.send((time.process_time() - begun_s, let_in[0], late_s))


def compute() -> None:
    """Take what there is of the server's core."""
    os.sched_setaffinity(0, {0})
    while True:
        sum(range(10_000))


def queued(port: int) -> int:
    """Return how many wait in the system's queue until they are taken (Linux: the receive queue)."""
    for line in Path("/proc/net/tcp").read_text().splitlines()[1:]:
        _, local, _, state, queue, *_ = line.split()
        if local.endswith(f":{port:04X}") and state == "0A":  # it listens
            return int(queue.partition(":")[2], 16)
    return 0


def spread(ms: list[float]) -> str:
    """Return a distribution in words."""
    median, late = np.percentile(ms, [50, 95])
    return f"median {median:.0f} ms, 95 % within {late:.0f} ms, longest {max(ms):.0f} ms ({len(ms)})"


def asker(port: int) -> Callable[[], float]:
    """Return what asks once and returns how long that took, in ms."""
    context = trusting()

    def ask() -> float:
        begun = time.monotonic()
        line = http.client.HTTPSConnection(f"{HOST}:{port}", timeout=60, context=context)
        line.request("GET", "/")
        line.getresponse().read()
        line.close()
        return 1_000 * (time.monotonic() - begun)

    return ask


def main() -> None:
    """Measure and print."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    contenders = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as state:
        os.environ["HANDSFREE_STATE"] = state
        names = own_names(HOST)
        identity = Authority.of_device(names).identity_for(names)
        listener = listen(HOST, 0)
        port, over = listener.getsockname()[1], context.Event()
        ours, theirs = context.Pipe()
        given = (listener, (identity.chain, identity.key), theirs, contenders > 0)
        server = context.Process(target=serve, args=given, daemon=True)
        others = [context.Process(target=drip, args=(port, over), daemon=True)]
        others += [context.Process(target=compute, daemon=True) for _ in range(contenders)]
        server.start()
        ask, ready = asker(port), False
        while not ready:
            with suppress(OSError):
                ready = ask() > 0
        print("quiet:", spread([ask() for _ in range(QUIET_REQUESTS)]))
        for other in others:
            other.start()
        time.sleep(STARTING_S)
        ours.send("begin")
        until, ms, queues = time.monotonic() + seconds, [], []
        while time.monotonic() < until:
            ms.append(ask())
            queues.append(queued(port))
            time.sleep(EVERY_S)
        over.set()
        ours.send("end")
        cpu_s, count, late_s = ours.recv()
        print("flood:", spread(ms))
        print(f"let in {count / seconds:.0f} a second, the processor {100 * cpu_s / seconds:.1f} % of a core")
        print(f"the queue at most {max(queues)} long, the loop late by {late_s:.2f} s at most")
        for other in (server, *others):
            other.kill()


if __name__ == "__main__":
    main()
