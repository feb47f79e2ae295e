"""What the list of visits is asked for: by the person who looks, or by an answer that leads to its visits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

SORTS = {
    "danger": "waits, danger DESC, day DESC, opened_at DESC",
    "day": "day DESC, opened_at DESC",
    "appliance": "appliance, serial, day DESC",
    "technician": "technician, day DESC",
}
_COLUMNS = {
    "technician": "technician", "outcome": "outcome", "seal": "seal", "serial": "serial", "procedure": "procedure",
    "version": "version", "office": "office", "instrument": "instrument_serial",
}  # fmt: skip
_BESIDE = {
    "stop": "SELECT key FROM stop WHERE why = ?",
    "at": "SELECT key FROM stop WHERE gate = ?",
    "gate": "SELECT key FROM gate WHERE gate = ?",
    "heard": "SELECT key FROM misheard WHERE heard = ?",
}
_BEGINNINGS = {"month": "day", "device": "device"}


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

    @property
    def order(self) -> str:
        """The order in SQL."""
        return SORTS.get(self.sort, SORTS["danger"])

    def led(self, gate_title: str) -> str:
        """Return what an answer asks for, in words, the gate by its title; empty when none asks for anything."""
        names = ("serial", "instrument", "device", "month", "procedure", "version", "office", "stop", "at", "gate",
                 "heard")  # fmt: skip
        told = vars(self) | {"gate": gate_title}
        return ", ".join(f"{name} {told[name]}" for name in names if getattr(self, name))

    def where(self) -> tuple[str, list[str]]:
        """Return the condition in SQL, and its values."""
        parts, values = [], []
        for word in self.words.split():
            parts.append(
                "(job || ' ' || site || ' ' || appliance || ' ' || serial || ' ' || technician) LIKE ? ESCAPE '!'"
            )
            values.append("%" + _literal(word) + "%")
        for name, column in _COLUMNS.items():
            if value := getattr(self, name):
                parts.append(f"{column} = ?")
                values.append(value)
        for name, query in _BESIDE.items():
            if value := getattr(self, name):
                parts.append(f"key IN ({query})")
                values.append(value)
        for name, column in _BEGINNINGS.items():
            if value := getattr(self, name):
                parts.append(f"{column} LIKE ? ESCAPE '!'")
                values.append(_literal(value) + "%")
        for sign, value in ((">=", self.since), ("<=", self.until)):
            if value:
                parts.append(f"day {sign} ?")
                values.append(value)
        return ("WHERE " + " AND ".join(parts) if parts else ""), values


def wanted_of(given: Mapping[str, str]) -> ListWanted:
    """Return what an address asks for; what it does not say asks for nothing."""
    texts = {each.name: given.get(each.name, "")[:100] for each in fields(ListWanted) if each.name != "page"}
    page = given.get("page", "")
    number = int(page) if page.isascii() and page.isdecimal() and len(page) < 7 else 1
    return ListWanted(**texts | {"sort": texts["sort"] or "danger"}, page=number)


def _literal(word: str) -> str:
    return word.replace("!", "!!").replace("%", "!%").replace("_", "!_")
