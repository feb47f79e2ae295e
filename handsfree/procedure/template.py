"""What a new file starts from: a small procedure that is proven, or a sheet with a line for every fact."""

from __future__ import annotations

import re
import types
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from handsfree.blocks import described_fields
from handsfree.problem import Problem
from handsfree.procedure.sheets import model_of
from handsfree.procedure.trades import TradeData, known_trades, trade_data_asked
from handsfree.trades import DEFAULT_TRADE

_NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_NEW_TRADE = Path(str(resources.files("handsfree.trades"))) / "_new"
_STEP = "  "
_COMMENT_AT = 34

_STORIES = """\
# Stories of NAME.yaml; procedures/STORIES.md describes them. `handsfree test NAME.yaml --unwalked` names what none
# walks yet. What the instruments show stands under `shows`; left out, it is usual. Expect what must not change.
handsfree: 2
stories_of: NAME
coverage: {gates: 0, ways: 0}
stories:
  - story: Everything goes well
    steps:
      - go: end
        expect: {altered: []}
    ends: finished
"""


def template(name: str, trade: str = DEFAULT_TRADE, near: Path | None = None) -> str:
    """Return the text of a new procedure; Problem when the name is not in kebab case, or for an unknown trade.

    `near` is the folder that it is for, where an author's own trade may lie.
    """
    _refuse_name(name)
    return trade_data_asked(trade, None, near).template.replace("NAME", name)


def trade_template(name: str) -> dict[str, str]:
    """Return the files of a new trade by where they lie in its folder: whole, and its `template.yaml` proven.

    Raises Problem when the name is not in kebab case, or is that of a trade that ships.
    """
    _refuse_name(name, "trade")
    if name in known_trades():
        raise Problem(f"the name {name!r} is that of a trade that ships with the program", remedy="choose another")
    files = sorted(_NEW_TRADE.rglob("*.yaml"))
    return {str(one.relative_to(_NEW_TRADE)): one.read_text("utf-8").replace("TRADE", name) for one in files}


def stories_template(name: str) -> str:
    """Return the first story of a procedure, in which everything goes well; Problem as `template`."""
    _refuse_name(name)
    return _STORIES.replace("NAME", name)


def sheet_template(sheet: str, trade: str = DEFAULT_TRADE, near: Path | None = None) -> str:
    """Return the text of a new sheet, `job` or `appliance`: every fact with what is to be written there.

    The values are left empty, so that no sheet passes before each is written. What need not be given is a comment.
    """
    if sheet not in {"job", "appliance"}:
        raise Problem(f"there is no sheet {sheet!r}", remedy="say job or appliance")
    of = trade_data_asked(trade, None, near)
    head = f"# The {sheet} sheet of {of.name}. Write each value; a line behind # is one that need not be given."
    return "\n".join([head, *_lines(of, sheet)]) + "\n"


def _refuse_name(name: str, of: str = "procedure") -> None:
    if not _NAME.fullmatch(name) or len(name) > 60:
        raise Problem(f"{name!r} cannot name a {of}", remedy="use lower-case words joined by hyphens")


def _lines(of: TradeData, sheet: str) -> Iterator[str]:
    for name, field in described_fields(model_of(of, sheet)).items():
        if name == "trade":
            yield f"trade: {of.name}"
        else:
            yield from _fact(name, field, "", "" if field.is_required() else "# ")


def _fact(name: str, field: FieldInfo, indent: str, mark: str) -> Iterator[str]:
    """Yield the lines of one fact; those that need not be given stand behind `#`."""
    yield from _value(name, field.annotation, " ".join((field.description or "").split()), indent, mark)


def _value(name: str, kind: Any, says: str, indent: str, mark: str) -> Iterator[str]:
    kind = bare(kind)
    origin, inner = get_origin(kind), get_args(kind)
    if origin is dict:
        key, below = (bare(one) for one in inner)
        keys = get_args(key) if get_origin(key) is Literal else ("NAME",)
        yield _line(f"{name}:", says, indent, mark)
        for one in keys:
            yield from _value(str(one), below, "", indent + _STEP, mark)
    elif origin is tuple:
        yield _line(f"{name}:", f"{says} One entry for each, begun with a hyphen.", indent, mark)
        lines = list(_below(bare(inner[0]), indent + _STEP * 2, mark))
        first = lines[0].replace(f"{mark}{indent}{_STEP * 2}", f"{mark}{indent}{_STEP}- ", 1)
        yield from [first, *lines[1:]]
    elif isinstance(kind, type) and issubclass(kind, BaseModel):
        yield _line(f"{name}:", says, indent, mark)
        yield from _below(kind, indent + _STEP, mark)
    elif origin is Literal and len(inner) == 1:
        yield _line(f"{name}: {inner[0]}", says, indent, mark)
    else:
        yield _line(f"{name}:", f"{wanted(kind)}. {says}".rstrip(), indent, mark)


def _below(model: type[BaseModel], indent: str, mark: str) -> Iterator[str]:
    for name, field in described_fields(model).items():
        yield from _fact(name, field, indent, mark if field.is_required() else "# ")


def bare(kind: Any) -> Any:
    """Return a type without what is said about it, and without its absence."""
    if get_origin(kind) is Annotated:
        return bare(get_args(kind)[0])
    if get_origin(kind) in {Union, types.UnionType}:
        return bare(next(one for one in get_args(kind) if one is not type(None)))
    return kind


def wanted(kind: Any) -> str:
    """Return in words what is written for a type."""
    if get_origin(kind) is Literal:
        return "one of: " + ", ".join(map(str, get_args(kind)))
    return {str: "text", Decimal: "a number", int: "a whole number", date: "a day, such as 2027-06-30"}[kind]


def _line(text: str, says: str, indent: str, mark: str) -> str:
    written = f"{mark}{indent}{text}"
    return f"{written:{_COMMENT_AT}}# {says}" if says else written


__all__ = ["bare", "sheet_template", "stories_template", "template", "trade_template", "wanted"]
