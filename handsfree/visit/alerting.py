"""Telling somebody else that nobody answers: by a command of this device, never by the network from here."""

from __future__ import annotations

import shlex
import subprocess
import threading
from collections.abc import Sequence

from handsfree.events import decisions as ev


def tell_others(command: str, alerted: ev.Alerted) -> str:
    """Start the command with who is to be told, the number, and the gate; return what went wrong, or "".

    It runs beside the visit, by no shell, and is not waited for: the stop comes first.
    """
    started = _started(command, (alerted.who, alerted.number, alerted.gate))
    if isinstance(started, str):
        return started
    threading.Thread(target=started.wait, name="handsfree alert", daemon=True).start()
    return ""


def run_alert(command: str, given: Sequence[str], patience_s: float) -> str:
    """Run the command, given who, the number and the text, to its end; return what went wrong, or ""."""
    started = _started(command, given)
    if isinstance(started, str):
        return started
    try:
        code = started.wait(patience_s)
    except subprocess.TimeoutExpired:
        started.kill()
        started.wait()
        return f"the alert command did not end in {patience_s:g} s"
    return f"the alert command ended with exit code {code}" if code else ""


def _started(command: str, given: Sequence[str]) -> subprocess.Popen[bytes] | str:
    try:
        return subprocess.Popen(  # noqa: S603 - the command is this device's own, no part of it comes from a sheet
            [*shlex.split(command), *given],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except (OSError, ValueError, IndexError) as error:
        return f"the alert command did not start: {error}"
