"""A record and the paper made from it, read without any code of the desk's: JSON lines, YAML and HTML."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML


class Paper(HTMLParser):
    """The text of the paper: its title, and under each heading its paragraphs, list lines and table rows."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.sections: dict[str, list[str]] = {"": []}
        self.tables: dict[str, list[list[str]]] = {}
        self.title = ""
        self._heading = ""
        self._open = ""
        self._row: list[str] | None = None
        self._text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        del attrs
        if tag in {"h1", "h2", "p", "li", "th", "td"}:
            self._open, self._text = tag, ""
        if tag == "tr":
            self._row = []

    def handle_data(self, data: str) -> None:
        if self._open:
            self._text += data

    def handle_endtag(self, tag: str) -> None:
        text = " ".join(self._text.split())
        if tag in {"h1", "h2"}:
            self.title = self.title or text
            self._heading = "" if text == self.title else text
            self.sections.setdefault(self._heading, [])
        elif tag in {"p", "li"} and self._open == tag:
            self.sections[self._heading].append(text)
        elif tag in {"th", "td"} and self._row is not None:
            self._row.append(text)
        elif tag == "tr" and self._row is not None:
            self.tables.setdefault(self._heading, []).append(self._row)
            self._row = None
        if tag == self._open:
            self._open = ""


@dataclass
class Span:
    """A thing while it was altered, by entry numbers."""

    thing: str
    began: int
    until: int | None = None


@dataclass
class Reread:
    """The facts of a record that its paper speaks of."""

    folder: Path
    entries: list[tuple[int, str, dict]] = field(default_factory=list)
    spans: list[Span] = field(default_factory=list)
    undone: dict[str, str] = field(default_factory=dict)
    titles: dict[str, str] = field(default_factory=dict)
    stops: list[tuple[int, dict]] = field(default_factory=list)
    how: dict[int, str] = field(default_factory=dict)
    """The entry of a stop -> how the work went on after it."""
    resumed: int = -1
    closed: dict | None = None

    def __post_init__(self) -> None:
        for line in (self.folder / "ledger.jsonl").read_text("utf-8").splitlines():
            entry = json.loads(line)
            self.entries.append((entry["seq"], entry["kind"], entry["event"]))
        for seq, kind, event in self.entries:
            self._note(seq, kind, event)
        self.gates, self.things, self.said = {}, {}, set()
        for path in sorted((self.folder / "sources").glob("*.yaml")):
            content = _in_english(YAML(typ="safe").load(path.read_text("utf-8")))
            self.things |= content.get("things") or {}
            for gate in content.get("gates") or ():
                self.gates[gate["id"]] = gate
                self.said.add(str(gate.get("title", "")).lower())

    def _note(self, seq: int, kind: str, event: dict) -> None:  # noqa: C901 - one case a kind
        if kind == "altered" and not any(s.thing == event["thing"] and s.until is None for s in self.spans):
            self.spans.append(Span(event["thing"], seq))
        elif kind == "restored":
            for span in self.spans:
                if span.thing == event["thing"] and span.until is None:
                    span.until = seq
        elif kind == "gate-entered":
            self.titles[event["gate"]] = event["title"]
        elif kind == "not-done":
            self.undone[event["gate"]] = event["reason"]
        elif kind == "gate-passed" and event["outcome"] != "not done":
            self.undone.pop(event["gate"], None)
        elif kind == "stopped":
            self.stops.append((seq, event))
        elif kind == "cleared" or (kind == "re-entered" and event["how"] != "relit"):
            self.how |= {at: event.get("how", "cleared") for at, _ in self.stops if at > self.resumed}
            self.resumed = seq
        elif kind == "step-reported" and event["leads"] == "off":
            self._refused(seq)
        elif kind == "visit-closed":
            self.closed = event

    def _refused(self, seq: int) -> None:
        """What was gone on from is in force again; what went out by itself was no stop before."""
        if not self.stops:
            self.stops.append((seq, {"why": "refused", "detail": "it could not be put into service again"}))
        self.resumed = self.stops[-1][0] - 1

    @property
    def outcome(self) -> str | None:
        return self.closed["outcome"] if self.closed else None

    @property
    def ended(self) -> bool:
        return self.outcome in {"finished", "incomplete"}

    @property
    def left(self) -> set[str]:
        """What is altered at the end, as the paper says it."""
        return {self.state(span.thing) for span in self.spans if span.until is None}

    def altered(self, thing: str, seq: int) -> bool:
        """Whether a thing was altered at an entry."""
        return any(s.thing == thing and s.began < seq and (s.until is None or seq < s.until) for s in self.spans)

    def state(self, thing: str) -> str:
        return f"{self.things[thing]['said']} ({self.things[thing]['altered']})"

    def all(self, kind: str) -> list[tuple[int, dict]]:
        return [(seq, event) for seq, known, event in self.entries if known == kind]

    def last_gate(self) -> str:
        return self.all("gate-entered")[-1][1]["title"]

    def stays_open(self, since: int) -> bool:
        """Whether something that was reported since an entry, and not taken back, is not as it should be left."""
        reported: list[bool] = []
        for seq, kind, event in self.entries:
            if kind == "steps-begun" and event["part"] == "way-down":
                reported = []
            elif seq > since and kind == "step-reported":
                reported.append(event["stays_open"])
            elif seq > since and kind == "step-taken-back":
                reported.pop()
        return any(reported)

    def sent_out(self) -> bool:
        """Whether the last stop sent everybody out, and no step back in was begun since."""
        if not self.stops or self.stops[-1][1].get("people") != "leave":
            return False
        begun = [seq for seq, event in self.all("steps-begun") if event["part"] == "re-entry"]
        return not any(seq > self.stops[-1][0] for seq in begun)

    def in_force(self) -> list[dict]:
        return [event for seq, event in self.stops if seq > self.resumed]

    def taken_back(self) -> list[tuple[dict, str]]:
        """The stops after which the work went on because somebody said that they were none, and that in words."""
        none = {"misheard": "misheard", "false-stop": "no call to stop"}
        gone_on = [(event, self.how.get(seq, "")) for seq, event in self.stops if seq <= self.resumed]
        return [(event, none[how]) for event, how in gone_on if how in none]

    def verdicts_of(self, title: str) -> list[dict]:
        """The last verdict of each gate of this title."""
        last = {event["gate"]: event for _, event in self.all("verdict") if self.titles[event["gate"]] == title}
        return list(last.values())


def shown(reading: dict) -> str:
    """The number of a reading as it was called."""
    return reading.get("called") or reading["value"]


def _in_english(content: Any) -> Any:
    """A file that stands in several languages, as those read it who have English alone."""
    match content:
        case {"english": text, **_others}:
            return text
        case dict():
            return {key: _in_english(value) for key, value in content.items()}
        case list():
            return [_in_english(value) for value in content]
    return content
