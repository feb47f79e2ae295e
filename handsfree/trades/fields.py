"""Sheets declared in YAML: a trade names its facts, and the classes that read them are made from that."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal, assert_never

from pydantic import Field, create_model, model_validator

from handsfree.blocks import Block, Day, Exact, FieldName, Texts
from handsfree.trades.sheets import ApplianceSheet, JobSheet, MakerBand, Sheets


class FactBlock(Block):
    """One fact of a sheet."""

    type: Literal["text", "decimal", "day", "choice", "band"]
    """What is written there. A `band` holds low, high or both, and the page of the maker's manual."""
    says: str = Field(min_length=3)
    """What it is, in a few words."""
    unit: str | None = None
    """The UCUM code of a decimal or of a band's edges."""
    required: bool = True
    """Whether a sheet must give it."""
    choices: Texts = ()
    """What may be written for a choice."""
    low: Exact | None = None
    """The least decimal that is believed."""
    high: Exact | None = None
    """The greatest decimal that is believed."""

    @model_validator(mode="after")
    def _together(self) -> FactBlock:
        if (self.type == "choice") != (len(self.choices) >= 2):
            raise ValueError("a choice needs two or more choices, and nothing else has any")
        if (self.type in {"decimal", "band"}) != (self.unit is not None):
            raise ValueError("a decimal and a band need a unit, and nothing else has one")
        if self.type != "decimal" and (self.low is not None or self.high is not None):
            raise ValueError("only a decimal has low and high")
        return self


class SheetsFile(Block):
    """`sheets.yaml`: the facts a trade's sheets hold beside those of every trade."""

    handsfree: Literal[1]
    job: dict[FieldName, FactBlock] = Field(default_factory=dict)
    """Facts of the job sheet."""
    appliance: dict[FieldName, FactBlock] = Field(default_factory=dict)
    """Facts of the appliance sheet: the maker's data."""

    @model_validator(mode="after")
    def _own(self) -> SheetsFile:
        for sheet, facts, common in (("job", self.job, JobSheet), ("appliance", self.appliance, ApplianceSheet)):
            taken = [name for name in facts if hasattr(common, name) or name in common.model_fields]
            if taken:
                raise ValueError(f"the {sheet} sheet of every trade has {', '.join(taken)} already")
        return self


class DeclaredSheets(Sheets):
    """Sheets whose own facts are those that a `sheets.yaml` declares."""

    def own_facts(self) -> dict[str, str]:
        """Return the declared facts of the job that were given, by what they are."""
        return {says: _shown(value) for says, value in _declared(self.job) if value is not None}

    def limits(self) -> dict[str, object]:
        """Return the declared facts of the appliance by what they are."""
        return dict(_declared(self.appliance))


def sheets_class(declared: SheetsFile, trade: str) -> type[Sheets]:
    """Return the class that reads a trade's two sheets, as strictly as any block of ours."""
    made = "".join(word.capitalize() for word in trade.split("-"))
    job = create_model(f"{made}JobSheet", __base__=JobSheet, **_fields(declared.job))
    appliance = create_model(f"{made}ApplianceSheet", __base__=ApplianceSheet, **_fields(declared.appliance))
    return create_model(f"{made}Sheets", __base__=DeclaredSheets, job=(job, ...), appliance=(appliance, ...))


def _fields(facts: dict[str, FactBlock]) -> dict[str, Any]:
    return {name: _field(fact) for name, fact in facts.items()}


def _field(fact: FactBlock) -> tuple[Any, Any]:
    """Return the type and the field of one fact, as `create_model` wants them."""
    kind: Any
    match fact.type:
        case "text":
            kind = Annotated[str, Field(min_length=1)]
        case "decimal":
            kind = Annotated[Exact, Field(ge=fact.low, le=fact.high)]
        case "day":
            kind = Day
        case "choice":
            kind = Literal[fact.choices]
        case "band":
            kind = MakerBand
        case _ as never:
            assert_never(never)
    unit = f" ({fact.unit})" if fact.unit else ""
    if fact.required:
        return kind, Field(description=fact.says + unit)
    return kind | None, Field(default=None, description=fact.says + unit)


def _declared(sheet: JobSheet | ApplianceSheet) -> list[tuple[str, object]]:
    common = (JobSheet if isinstance(sheet, JobSheet) else ApplianceSheet).model_fields
    own = {name: field for name, field in type(sheet).model_fields.items() if name not in common}
    return [(field.description or name, getattr(sheet, name)) for name, field in own.items()]


def _shown(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, MakerBand):
        edges = [f"from {value.low:f}"] if value.low is not None else []
        edges += [f"to {value.high:f}"] if value.high is not None else []
        return f"{' '.join(edges)}, page {value.page}"
    return str(value)
