"""What the language lets stand at a place of a procedure: its JSON Schema, walked along a path."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from handsfree.documents import Path_
from handsfree.procedure.schema import PARAMETER, schema

# Any: JSON Schema is plain data.
Schema = Mapping[str, Any]


@cache
def _whole() -> Schema:
    return schema()


def shapes_at(content: Any, path: Path_) -> tuple[Schema, ...]:
    """Return each form that may stand at a path of a procedure's content; nothing where nothing may."""
    found: list[Schema] = list(_forms(_whole(), content))
    for part in path:
        content = below(content, part)
        found = [form for shape in found for inner in _inside(shape, part) for form in _forms(inner, content)]
    return tuple(found)


def keys_of(content: Any, path: Path_) -> dict[str, str]:
    """Return the keys that a block at a path may have, each with what the language says of it."""
    return {
        key: described(value)
        for shape in shapes_at(content, path)
        for key, value in shape.get("properties", {}).items()
    }


def described(shape: Schema) -> str:
    """Return what the language says of a value: its description, else that of what it refers to."""
    if "description" in shape:
        return " ".join(str(shape["description"]).split())
    referred = [form for form in _forms(shape, None) if form is not shape and "description" in form]
    return " ".join(str(referred[0]["description"]).split()) if len(referred) == 1 else ""


def values_of(content: Any, path: Path_) -> list[str]:
    """Return the values that the language lists for a place."""
    found = []
    for shape in shapes_at(content, path):
        found += [str(one) for one in shape.get("enum", [])]
        found += [str(shape["const"])] if "const" in shape else []
        found += ["true", "false"] if shape.get("type") == "boolean" else []
    return list(dict.fromkeys(found))


def patterns_of(content: Any, path: Path_) -> set[str]:
    """Return the patterns of the texts that may stand at a place."""
    return {str(shape["pattern"]) for shape in shapes_at(content, path) if "pattern" in shape}


def _forms(shape: Schema, content: Any) -> Iterator[Schema]:
    """Yield a schema's alternatives, references followed; of kinds told apart by a key only the one written."""
    if shape == PARAMETER:
        return
    if "$ref" in shape:
        yield from _forms(_whole()["$defs"][str(shape["$ref"]).rpartition("/")[2]], content)
        return
    kinds = shape.get("discriminator", {})
    written = content.get(kinds.get("propertyName")) if isinstance(content, dict) else None
    if isinstance(written, str) and written in kinds.get("mapping", {}):
        yield from _forms({"$ref": kinds["mapping"][written]}, content)
        return
    options = [*shape.get("anyOf", []), *shape.get("oneOf", [])]
    if not options:
        yield shape
    for option in options:
        yield from _forms(option, content)


def _inside(shape: Schema, part: str | int) -> Iterator[Schema]:
    """Yield what may stand below a key or a number."""
    if isinstance(part, int):
        yield from (shape["items"],) if isinstance(shape.get("items"), dict) else ()
    elif part in shape.get("properties", {}):
        yield shape["properties"][part]
    else:
        yield from shape.get("patternProperties", {}).values()
        if isinstance(shape.get("additionalProperties"), dict):
            yield shape["additionalProperties"]


def below(content: Any, part: str | int) -> Any:
    """Return what stands at a key or a number of plain content; None where nothing does."""
    if isinstance(content, dict) and isinstance(part, str):
        return content.get(part)
    if isinstance(content, list) and isinstance(part, int) and part < len(content):
        return content[part]
    return None
