"""The JSON Schema of an entry, which ships with the program."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any


def envelope_schema() -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of one line of the record, whatever its event."""
    schema: dict[str, Any] = json.loads(
        files("handsfree.ledger").joinpath("envelope.schema.json").read_text("utf-8")
    )
    return schema
