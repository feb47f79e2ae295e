"""Telling a person now that a visit left a hazard behind, by the command that the office set.

It is the channel of a visit's own alerts: a command of this machine that is given who is to be told, the number
and the text. What was told is kept, so that each hazard is told once; what could not be told is tried again.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from handsfree.desk.hazards import VisitHazard, hazards_of_all
from handsfree.desk.index import Index
from handsfree.ledger import state_folder
from handsfree.problem import one_line
from handsfree.visit.alerting import run_alert

MOST_AT_ONCE = 5
"""More new ones are told in one message: a first look at old visits floods nobody."""
PATIENCE_S = 60.0
LONGEST_LINE = 500


@dataclass(frozen=True)
class AlertChannel:
    """The office's command, and who is to be told by it."""

    command: str
    who: str
    number: str = ""

    def tell(self, text: str) -> str:
        """Run the command to its end; return what went wrong, or ""."""
        return run_alert(self.command, (self.who, self.number, one_line(text)[:LONGEST_LINE]), PATIENCE_S)


class HazardAlerts:
    """Tells of each open hazard once."""

    def __init__(self, index: Index, channel: AlertChannel, kept: Path | None = None) -> None:
        self.illness = ""
        """Why the last alert did not reach anybody; empty when it did."""
        self._index, self._channel = index, channel
        self._kept = kept or state_folder() / "alerted.jsonl"
        self._told = self._read()

    def look(self) -> None:
        """Tell of what is open, has no owner, and was never told."""
        found = [one for one in hazards_of_all(self._index) if one.standing.open and not one.standing.owner]
        new = [one for one in found if one.told_as not in self._told]
        if not new:
            self.illness = ""
            return
        messages = [(one.sentence, [one]) for one in new]
        if len(new) > MOST_AT_ONCE:
            messages = [(f"{len(new)} new hazards. The gravest: {new[0].sentence}", new)]
        self.illness = ""
        for text, told in messages:
            if fault := self._channel.tell(text):
                self.illness = f"{self._channel.who} could not be alerted: {fault}"
                return  # the rest would wait as long, each; the next look tries again
            self._keep(told)

    def _keep(self, told: list[VisitHazard]) -> None:
        self._told |= {one.told_as for one in told}
        self._kept.parent.mkdir(parents=True, exist_ok=True)
        with self._kept.open("a", encoding="utf-8") as stream:
            stream.writelines(json.dumps(one.told_as) + "\n" for one in told)

    def _read(self) -> set[tuple[str, str]]:
        try:
            lines = self._kept.read_text("utf-8", errors="replace").splitlines()
        except FileNotFoundError:
            return set()
        found = set()
        for line in lines:
            try:
                identity, name = json.loads(line)
            except (ValueError, TypeError):
                continue  # a line that was cut off: told once more
            found.add((str(identity), str(name)))
        return found
