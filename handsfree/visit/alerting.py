"""Telling somebody else that nobody answers: by a command of this device, never by the network from here."""

from __future__ import annotations

import shlex
import subprocess
import threading

from handsfree.events import decisions as ev


def tell_others(command: str, alerted: ev.Alerted) -> str:
    """Start the command with who is to be told, the number, and the gate; return what went wrong, or "".

    It runs beside the visit, by no shell, and is not waited for: the stop comes first.
    """
    words = shlex.split(command)
    try:
        started = subprocess.Popen(  # noqa: S603 - the command is this device's own, no part of it comes from a sheet
            [*words, alerted.who, alerted.number, alerted.gate],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except (OSError, IndexError) as error:
        return f"the alert command did not start: {error}"
    threading.Thread(target=started.wait, name="handsfree alert", daemon=True).start()
    return ""
