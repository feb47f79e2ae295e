"""What earlier job sheets of an appliance or a site say, offered to whoever writes the next one.

Nothing of a person is offered, nor what belongs to one day: instruments, dates, consent.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from handsfree.desk.earlier_records import EarlierRecord, EarlierRecords, alike
from handsfree.documents import read_document
from handsfree.ledger.personal import holds_names
from handsfree.office.enrolment import Enrolment
from handsfree.problem import Problem
from handsfree.procedure.template import bare
from handsfree.trades.sheets import Instrument, JobSheet
from handsfree.visit.folder import JOB_SHEET, SOURCES

OF_THE_SITE = frozenset({"serial", "altitude_metre", "alert", "emergency_number", "photos"})
"""Facts that a site settles, whatever stands there; a serial is offered, and then settles the others."""
_OF_EVERY_TRADE = frozenset(JobSheet.model_fields)


@dataclass(frozen=True)
class OfferedFact:
    """An answer that an earlier job sheet gives, and the day of its visit."""

    text: str
    day: str


class KnownBefore:
    """The job sheets of earlier visits of a trade, the newest first; each record is verified before it is used."""

    def __init__(
        self, records: EarlierRecords, model: type[BaseModel], trade: str, listed: Enrolment | None
    ) -> None:
        self._records, self._listed = records, listed
        self._own = {
            name for name in model.model_fields if name not in _OF_EVERY_TRADE and not _measures(model, name)
        }
        of_trade = [one for one in records.all if one.opened.trade == trade]
        self._newest = sorted(of_trade, key=lambda one: one.opened_at, reverse=True)
        self._read: dict[Path, Mapping[str, str]] = {}

    def offer(self, path: str, given: Mapping[str, str]) -> OfferedFact | None:
        """Return what to offer for a question by its path, after the answers given so far; None for nothing.

        The answer to whether a block is written (its path ends with "?") is yes where an earlier sheet has it.
        """
        fact, serial, site = path.partition("/")[0].rstrip("?"), given.get("serial"), given.get("site")
        if fact == "site":
            sites = {"".join(one.opened.site.split()).casefold(): one for one in reversed(self._newest)}
            found = [*sites.values()] if len(sites) == 1 else []
        elif serial is not None and fact in self._own | OF_THE_SITE - {"serial"}:
            same = [one for one in self._newest if alike(one.opened.serial, serial)]
            found = same or ([] if fact in self._own else self._at(site))
        else:
            found = self._at(site) if fact in OF_THE_SITE else []
        for record in found:
            facts = self._facts(record)
            text = facts.get(path)
            if text is None and path.endswith("?") and any(name.startswith(f"{path[:-1]}/") for name in facts):
                text = "yes"
            if text is not None:
                return OfferedFact(text, record.opened.day)
        return None

    def _at(self, site: str | None) -> list[EarlierRecord]:
        return [] if site is None else [one for one in self._newest if alike(one.opened.site, site)]

    def _facts(self, record: EarlierRecord) -> Mapping[str, str]:
        """Return the plain facts of a record's job sheet by their paths; none where the record does not hold."""
        if record.folder not in self._read:
            self._read[record.folder] = {}
            if self._records.held(record, self._listed) is not None:
                try:
                    content = read_document(record.folder / SOURCES / JOB_SHEET).content
                except Problem as problem:
                    self._records.leave_out(record.folder.name, problem.what)
                else:
                    self._read[record.folder] = dict(_plain(content, ""))
        return self._read[record.folder]


def _measures(model: type[BaseModel], name: str) -> bool:
    """Say whether a fact of a job sheet is an instrument: the technician brings it."""
    kind = bare(model.model_fields[name].annotation)
    return isinstance(kind, type) and issubclass(kind, Instrument)


def _plain(content: Any, path: str) -> Iterator[tuple[str, str]]:
    """Yield the plain values of a sheet by their paths; what commits to a person's data is none."""
    if isinstance(content, Mapping):
        for name, value in content.items():
            yield from _plain(value, f"{path}/{name}".removeprefix("/"))
    elif not isinstance(content, list | tuple | bool) and content is not None:
        text = str(content)
        if text and "\n" not in text and not holds_names(text):
            yield path, text
