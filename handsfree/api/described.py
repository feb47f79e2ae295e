"""The description of the API for other programs: OpenAPI 3.1, from the models that the answers are made of."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import models_json_schema

from handsfree import __version__
from handsfree.api.shapes import ApiHazardPage, ApiProblem, ApiVisit, ApiVisitPage
from handsfree.api.tokens import TokenScope

BASE = "/api/v1"
FILTERS = {
    "words": "Words of job, site, appliance, serial number or technician.",
    "technician": "A technician's name.",
    "serial": "An appliance's serial number.",
    "office": "An office.",
    "outcome": "How the visit ended.",
    "seal": "What verification says.",
    "since": "From this day on (ISO 8601).",
    "until": "Until this day.",
}
"""What the list of visits may be asked for."""


def description() -> dict[str, Any]:
    """Return the OpenAPI description."""
    models = (ApiVisit, ApiVisitPage, ApiHazardPage, ApiProblem)
    _, defined = models_json_schema(
        [(model, "serialization") for model in models], ref_template="#/components/schemas/{model}"
    )
    page = _parameter("page", "Which page of 50, from 1.", {"type": "integer", "minimum": 1})
    filters = [_parameter(name, says, {"type": "string"}) for name, says in FILTERS.items()]
    key = {**_parameter("key", "The visit's key.", {"type": "string"}), "in": "path", "required": True}
    return {
        "openapi": "3.1.0",
        "info": {"title": "Handsfree, an office's visits", "version": __version__, "license": {"name": "MIT"}},
        "servers": [{"url": BASE}],
        "components": {
            "schemas": defined["$defs"],
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
        "paths": {
            "/visits": _get("Visits, newest first.", TokenScope.VISITS, "ApiVisitPage", [page, *filters]),
            "/visits/{key}": _get("One visit.", TokenScope.VISITS, "ApiVisit", [key]),
            "/hazards": _get("What is open in visits that wait.", TokenScope.HAZARDS, "ApiHazardPage", [page]),
            "/calendar.ics": _get("Calibrations and visits that fall due.", TokenScope.CALENDAR, None, []),
        },
    }


def _get(says: str, scope: TokenScope, model: str | None, parameters: list[dict[str, Any]]) -> dict[str, Any]:
    content: dict[str, Any] = (
        {"application/json": {"schema": {"$ref": f"#/components/schemas/{model}"}}}
        if model
        else {"text/calendar": {"schema": {"type": "string"}}}
    )
    fault = {"application/json": {"schema": {"$ref": "#/components/schemas/ApiProblem"}}}
    faults = {"401": "No token, or none that stands.", "403": "The token has not this scope.", "404": "Not there."}
    return {
        "get": {
            "summary": says,
            "description": f"TokenScope: `{scope.value}`.",
            "security": [{"token": [scope.value]}],
            "parameters": parameters,
            "responses": {
                "200": {"description": "Found.", "content": content},
                **{status: {"description": why, "content": fault} for status, why in faults.items()},
            },
        }
    }


def _parameter(name: str, says: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "description": says, "schema": schema}
