"""What the list of visits is asked for: by the person who looks, or by an answer that leads to its visits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields


@dataclass(frozen=True)
class ListWanted:
    """What the list is asked for; empty texts ask for nothing.

    The last nine come from answers across visits: an appliance, an instrument, a device, a step and so on.
    """

    words: str = ""
    technician: str = ""
    since: str = ""
    until: str = ""
    outcome: str = ""
    seal: str = ""
    sort: str = "danger"
    page: int = 1
    serial: str = ""
    instrument: str = ""
    device: str = ""
    month: str = ""
    procedure: str = ""
    version: str = ""
    office: str = ""
    stop: str = ""
    at: str = ""
    gate: str = ""
    heard: str = ""

    def led(self, gate_title: str) -> str:
        """Return what an answer asks for, in words, the gate by its title; empty when none asks for anything."""
        names = ("serial", "instrument", "device", "month", "procedure", "version", "office", "stop", "at", "gate",
                 "heard")  # fmt: skip
        told = vars(self) | {"gate": gate_title}
        return ", ".join(f"{name} {told[name]}" for name in names if getattr(self, name))


def wanted_of(given: Mapping[str, str]) -> ListWanted:
    """Return what an address asks for; what it does not say asks for nothing."""
    texts = {each.name: given.get(each.name, "")[:100] for each in fields(ListWanted) if each.name != "page"}
    page = given.get("page", "")
    number = int(page) if page.isascii() and page.isdecimal() and len(page) < 7 else 1
    return ListWanted(**texts | {"sort": texts["sort"] or "danger"}, page=number)
