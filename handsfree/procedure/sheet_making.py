"""A new sheet made of answers: which facts are asked for, what must go together, and the text of its file."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.nodes import ScalarNode

from handsfree.documents import Document, parse_document
from handsfree.problem import Problem
from handsfree.procedure.procedure import Procedure
from handsfree.procedure.sheet_questions import Asking, SheetQuestions
from handsfree.procedure.sheets import model_of, read_appliance_sheet, read_job_sheet, trade_of
from handsfree.procedure.trades import TradeData

FIRST_VERSION = "1.0.0"
"""Of a new sheet of maker's data; each change raises it."""
_GIVEN = frozenset({"handsfree", "trade", "appliance"})
"""Facts of the job sheet that the appliance sheet settles."""


@dataclass(frozen=True)
class VisitNeeds:
    """What a visit makes of the two sheets."""

    needed: frozenset[str] = frozenset()
    """Facts of the job sheet that it cannot do without."""
    idle: frozenset[str] = frozenset({"language", "photos"})
    """Facts of the job sheet that change nothing of it: they are not asked for."""
    without: Mapping[str, str] = field(default_factory=dict)
    """Fact of the maker's data -> the sentence that names the gates without a limit when it is left out."""


NO_VISIT = VisitNeeds()


def needs_of(procedure: Procedure, of: TradeData) -> VisitNeeds:
    """Return what a visit or a part of it makes of the sheets of its trade."""
    gates = [placed.gate for placed in procedure.gates.values()]
    used = {"language": bool(procedure.file.translations), "photos": any(gate.photo for gate in gates)}
    documents = (one.content for one in procedure.documents)
    named = (one.get("jobsheet") or () for one in documents if isinstance(one, dict))
    return VisitNeeds(
        frozenset(fact.replace("-", "_") for facts in named for fact in facts),
        frozenset(name for name, is_used in used.items() if not is_used),
        dict(_without(procedure, of)),
    )


def _without(procedure: Procedure, of: TradeData) -> list[tuple[str, str]]:
    told = []
    for fact, calculations in of.sheets.judged_by().items():
        lacking = [
            one.id
            for one in procedure.gates.values()
            if one.gate.effects.judges and one.gate.effects.judges.calculation in calculations
        ]
        if lacking:
            says = f'Without {fact.replace("_", " ")} these gates say "no limit loaded": {", ".join(lacking)}.'
            told.append((fact, says))
    return told


@dataclass(frozen=True)
class SheetFault:
    """What of a whole sheet cannot stand, at one of its facts."""

    path: str
    sentence: str


class NewJobSheet:
    """The job sheet of one job, beside the maker's data that it names."""

    def __init__(self, appliance: Document, needs: VisitNeeds, of_visit: TradeData | None = None) -> None:
        """Problem where the document is no sheet of maker's data; `of_visit` as for `trade_of`."""
        self.trade = trade_of(appliance, of_visit)
        self._data = read_appliance_sheet(appliance, self.trade)
        self._beside, self._needs = Path(appliance.file).name, needs

    def content(self, asking: Asking) -> dict[str, Any]:
        """Return what the sheet holds by the answers there are."""
        questions = SheetQuestions(asking, _units(self.trade), self._needs.needed)
        given: dict[str, Any] = {"handsfree": 1, "trade": self.trade.name, "appliance": self._beside}
        return given | questions.block(model_of(self.trade, "job"), "", _GIVEN | self._needs.idle)

    def fault(self, content: Mapping[str, Any]) -> SheetFault | None:
        """Return what does not go together when every fact stands by itself."""
        try:
            job = read_job_sheet(parse_document(written(content), self._beside), self.trade)
        except Problem as problem:
            return SheetFault(str(list(content)[-1]), problem.what)
        for key, what, remedy in self.trade.sheets(job=job, appliance=self._data).disagreements():
            return SheetFault(key, f"{what}; {remedy}")
        return None


class NewApplianceSheet:
    """The maker's data of one model, in the order of a manual."""

    def __init__(self, trade: TradeData, needs: VisitNeeds, version: str = FIRST_VERSION) -> None:
        self.trade, self._needs, self._version = trade, needs, version

    def content(self, asking: Asking) -> dict[str, Any]:
        """Return what the sheet holds by the answers there are."""
        without = self._needs.without
        questions = SheetQuestions(asking, _units(self.trade), without=lambda name: without.get(name, ""))
        given = {"handsfree": 1, "trade": self.trade.name, "version": self._version}
        return given | questions.block(model_of(self.trade, "appliance"), "", frozenset(given))

    def fault(self, content: Mapping[str, Any]) -> SheetFault | None:
        """Return what does not go together when every fact stands by itself."""
        try:
            read_appliance_sheet(parse_document(written(content), "sheet"), self.trade)
        except Problem as problem:
            return SheetFault(str(list(content)[-1]), problem.what)
        return None


def _units(of: TradeData) -> dict[str, str]:
    return {name: one.unit for name, one in of.quantities.items()}


def written(content: Mapping[str, Any]) -> str:
    """Return the text of a sheet's file."""
    yaml = YAML()
    yaml.representer.add_representer(Decimal, _exact)
    buffer = io.StringIO()
    yaml.dump(dict(content), buffer)
    return buffer.getvalue()


def _exact(representer: Any, value: Decimal) -> ScalarNode:
    text = f"{value:f}"
    kind = "float" if "." in text else "int"  # a whole number tagged otherwise would be written in quotes
    node: ScalarNode = representer.represent_scalar(f"tag:yaml.org,2002:{kind}", text)
    return node
