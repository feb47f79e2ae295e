"""What a branch depends on, held against the sheets and the gates: only what is declared may decide."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, get_args, get_origin

from handsfree.documents import Place
from handsfree.gates.kind import Effects, Follows
from handsfree.procedure.targets import need
from handsfree.trades.sheets import Sheets


def check_branch(
    effects: Effects, beside: Mapping[str, Mapping[str, str]], sheets: type[Sheets], place: Place, of: Place
) -> None:
    """Raise Problem at `of` when nothing of the name decides, at `place` when it cannot decide so.

    `beside` holds the transitions of the gates of the same file, by their written ids.
    """
    follows = effects.follows
    if follows is None:
        return
    known = _choices(follows, sheets, of) if follows.fact else _outcomes(follows, beside, of)
    odd = [name for name in follows.values if name not in known]
    what = f"{follows.fact or follows.answer} is never {', '.join(odd)}"
    need(not odd, what, place, f"write any of: {', '.join(known)}")


def _outcomes(follows: Follows, beside: Mapping[str, Mapping[str, str]], of: Place) -> tuple[str, ...]:
    answer = follows.answer or ""
    need(answer in beside, f"there is no gate {answer!r}", of, f"it has: {', '.join(beside)}")
    return tuple(beside[answer])


def _choices(follows: Follows, sheets: type[Sheets], of: Place) -> tuple[str, ...]:
    """Return what may be written for a fact of a sheet; Problem when it has no choices, or is none."""
    sheet, _, fact = (follows.fact or "").partition(".")
    model = sheets.model_fields[sheet].annotation
    choices = choices_of(model)
    known = ", ".join(f"{sheet}.{name}" for name, values in choices.items() if values) or "none"
    need(fact in choices, f"the {sheet} sheet has no fact {fact!r}", of, f"with choices are: {known}")
    need(
        choices[fact],
        f"{follows.fact} is no choice, so nothing can follow from it",
        of,
        f"with choices are: {known}",
    )
    return choices[fact]


def choices_of(sheet: Any) -> dict[str, tuple[str, ...]]:
    """Return each fact of a sheet's class with its choices; none for what is no choice."""
    fields = getattr(sheet, "model_fields", {})
    return {name: _literals(field.annotation) for name, field in fields.items()}


def _literals(kind: Any) -> tuple[str, ...]:
    if get_origin(kind) is Literal:
        return tuple(value for value in get_args(kind) if isinstance(value, str))
    return tuple(value for one in get_args(kind) for value in _literals(one))
