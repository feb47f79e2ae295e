"""The language as JSON Schema 2020-12, for editors: completion, hover texts, and faults while typing."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core.core_schema import DecimalSchema

from handsfree.gates.table import LimitsTable
from handsfree.procedure.file import LANGUAGE_VERSION, ProcedureFile
from handsfree.procedure.sheets import model_of
from handsfree.procedure.trades import TradeData, trade_data, trades_in_order
from handsfree.procedure.translation import TEXTS

DIALECT = "https://json-schema.org/draft/2020-12/schema"
SPOKEN = frozenset(path[-1] if path[-1] != "*" else path[-2] for path in TEXTS)
"""The keys of texts that may stand in several languages."""
PARAMETER = {"type": "string", "pattern": r"\$\{?[a-z][a-z0-9]*(-[a-z0-9]+)*", "description": "A parameter."}


class _Written(GenerateJsonSchema):
    """A schema without the texts that pydantic also takes for a decimal: in YAML it is a number."""

    def decimal_schema(self, schema: DecimalSchema) -> JsonSchemaValue:
        """Return the schema of a number, with its bounds."""
        options: list[JsonSchemaValue] = super().decimal_schema(schema)["anyOf"]
        return next(option for option in options if option["type"] == "number")


def schema() -> dict[str, Any]:
    """Return the schema of a procedure file; any value inside a gate may be a parameter, `$name`.

    Trades and quantities that ship are listed, so that an editor completes them. An author's trade has others;
    which trade has which is told by `check`.
    """
    made = ProcedureFile.model_json_schema(schema_generator=_Written)
    made["properties"]["trade"] = _or_another(made["properties"]["trade"], trades_in_order())
    quantities = list(dict.fromkeys(name for of in trades_in_order() for name in trade_data(of).quantities))
    for block in ("Ask", "Limits"):
        known = made["$defs"][block]["properties"]
        known["quantity"] = _or_another(known["quantity"], quantities)
    for written in (made, *made["$defs"].values()):
        for key, value in written.get("properties", {}).items():
            if key in SPOKEN:
                written["properties"][key] = _or_translated(value)
    for written in (made, made["$defs"]["IncludeGate"]):
        values = next(iter(written["properties"]["parameters"]["patternProperties"].values()))
        values["anyOf"] = [*values["anyOf"], _by_language({"type": "string"})]
    for name, block in made["$defs"].items():
        if name.endswith("Gate") or name in {"Ask", "Settle", "Answer", "Limits"}:
            block["properties"] = {key: _or_parameter(key, value) for key, value in block["properties"].items()}
    return {
        "$schema": DIALECT,
        "$id": f"handsfree-procedure-{LANGUAGE_VERSION}",
        **made,
        "title": "A handsfree procedure",
    }


def sheet_schema_text(sheet: str, of: TradeData) -> str:
    """Return the schema of one of a trade's sheets, `job` or `appliance`, for editors."""
    made = model_of(of, sheet).model_json_schema(schema_generator=_Written)
    return _text({"$schema": DIALECT, "$id": f"handsfree-{of.name}-{sheet}-sheet", **made})


def table_schema_text() -> str:
    """Return the schema of a table of limits, `NAME.table.yaml`, as it is shipped."""
    made = LimitsTable.model_json_schema(schema_generator=_Written)
    about = {"$schema": DIALECT, "$id": f"handsfree-table-{LANGUAGE_VERSION}"}
    return _text({**about, **made, "title": "A handsfree table of limits"})


def schema_text() -> str:
    """Return the schema as it is shipped."""
    return _text(schema())


def _text(made: dict[str, Any]) -> str:
    return json.dumps(made, indent=2, ensure_ascii=False) + "\n"


def _or_another(value: dict[str, Any], known: Iterable[str]) -> dict[str, Any]:
    """Return the schema of a name that is one of those known, or of an author's own trade."""
    about: dict[str, Any] = {name: value[name] for name in ("description", "default", "title") if name in value}
    inner = {name: item for name, item in value.items() if name not in about}
    return {**about, "anyOf": [{"type": "string", "enum": list(known)}, *inner.get("anyOf", [inner])]}


def _or_translated(value: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a text, or of texts, that may stand in several languages."""
    about: dict[str, Any] = {name: value[name] for name in ("description", "default", "title") if name in value}
    inner = {name: item for name, item in value.items() if name not in about}
    if isinstance(inner.get("items"), dict):
        inner["items"] = {"anyOf": [inner["items"], _by_language(inner["items"])]}
    return {**about, "anyOf": [*inner.get("anyOf", [inner]), _by_language(inner)]}


def _by_language(text: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "object",
        "description": "The text by language.",
        "minProperties": 1,
        "additionalProperties": text,
    }


def _or_parameter(key: str, value: dict[str, Any]) -> dict[str, Any]:
    if key in {"id", "kind"} or "const" in value:
        return value
    about: dict[str, Any] = {name: value[name] for name in ("description", "default", "title") if name in value}
    inner = {name: item for name, item in value.items() if name not in about}
    for part in ("additionalProperties", "items", "patternProperties"):
        if part == "patternProperties" and part in inner:
            inner[part] = {k: v if "$ref" in v else {"anyOf": [v, PARAMETER]} for k, v in inner[part].items()}
        elif (
            isinstance(inner.get(part), dict) and "$ref" not in inner[part] and "discriminator" not in inner[part]
        ):
            inner[part] = {"anyOf": [inner[part], PARAMETER]}
    return {**about, "anyOf": [*inner.get("anyOf", [inner]), PARAMETER]}
