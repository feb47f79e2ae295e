"""How a change of a procedure weighs: looser, tighter, neutral, or wording.

What cannot be shown to be tighter, neutral or wording counts as looser: then a person looks at it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import Any, Literal

from handsfree.gates.outcomes import ENDS, NOT_ASKED, NOT_DONE
from handsfree.procedure.procedure import Procedure

Weight = Literal["looser", "tighter", "neutral", "wording"]
WEIGHTS: Mapping[str, str] = {
    "looser": "It allows more than before, or nothing shows that it does not.",
    "tighter": "It asks for more than before.",
    "wording": "It says the same in other words.",
    "neutral": "It changes nothing that is allowed or asked for.",
}
"""How a change weighs, the gravest first."""

_INSTRUCTING = frozenset({"prompt", "script", "said"})
_NEUTRAL = frozenset({"source", "settle.source"})

_MORE_IS_TIGHTER: Mapping[str, bool] = {
    "wait_seconds": True,
    "sets": True,
    "interval_seconds": True,
    "most_sets": False,
    "least_seconds": True,
    "seconds": True,
    "at_most": False,
    "work_seconds": False,
    "decimals": True,
}
"""A number of a gate -> whether a larger one asks for more."""

_TRUE_IS_TIGHTER = frozenset({"firing", "own_words", "attended", "put_back_when_stopped"})
_GAIN_IS_TIGHTER = frozenset(
    {"needs", "alters", "voids", "captures", "hazard", "things", "rate", "note", "signed_by"}
)

_ARTICLES = "a an the of to at your its this that these those"
_FILLING = frozenset(f"{_ARTICLES} please now then and is are be".split())
"""Words whose coming and going leaves what a text tells to do; any other may turn it, and is looked at."""


def gravest(weights: Iterator[Weight]) -> Weight:
    """Return the gravest of some weights; neutral when there is none."""
    found = set(weights)
    order: tuple[Weight, ...] = ("looser", "tighter", "wording", "neutral")
    return next((weight for weight in order if weight in found), "neutral")


def of_field(name: str, was: Any, now: Any) -> Weight:
    """Return how a changed field of a gate or a thing weighs."""
    if name in _INSTRUCTING:
        return of_text(str(was or ""), str(now or ""))
    if name in _MORE_IS_TIGHTER:
        return _of_number(was, now, more_is_tighter=_MORE_IS_TIGHTER[name])
    weigh = _OF_FIELDS.get(name)
    return "looser" if weigh is None else weigh(was, now)


def of_text(was: str, now: str) -> Weight:
    """Return wording where only words came or went that tell nothing; looser otherwise, and in another order."""
    before, after = (
        re.findall(r"\{[^}]*\}|-?\d+(?:[.,]\d+)*|[^\W\d_]+(?:'[^\W\d_]+)*", text.lower()) for text in (was, now)
    )
    kept = [[word for word in words if word not in _FILLING] for words in (before, after)]
    return "wording" if kept[0] == kept[1] else "looser"


def of_transition(old: Procedure, new: Procedure, outcome: str, led: str | None, leads: str | None) -> Weight:
    """Return how a way weighs that leads elsewhere; the gates named are those of the old and the new procedure."""
    if leads is None or led is None:
        tighter = outcome in {NOT_ASKED, NOT_DONE} if leads is None else _stops(new, leads)
        return "tighter" if tighter else "looser"
    stopped, stops = _stops(old, led), _stops(new, leads)
    if stopped != stops:
        return "tighter" if stops else "looser"
    if stopped:
        alike = led not in new.gates or _script(old, led) == _script(new, leads)
    else:  # through a gate that was put in between, which weighs by itself
        alike = leads not in old.gates and led in new.gates and _comes_to(new, leads, led, frozenset(old.gates))
    return "neutral" if alike else "looser"


def of_gate_added(new: Procedure, gate_id: str) -> Weight:
    """Return how a gate weighs that was put in: it asks for more, unless it alters, puts back, turns or leaves."""
    gate, effects = new.gates[gate_id].gate, new.gates[gate_id].gate.effects
    if gate.kind == "entry":  # what was always gone through is so no more
        return "looser"
    if effects.alters or effects.restores or effects.turns or effects.leaves:
        return "looser"
    return "tighter" if effects.end is None else "neutral"


def _comes_to(new: Procedure, at: str, to: str, known: frozenset[str]) -> bool:
    """Say whether every way out of added gates comes to a gate, or stops the visit."""
    open_, seen = [at], set[str]()
    while open_:
        gate_id = open_.pop()
        if gate_id in seen or gate_id == to or _stops(new, gate_id):
            continue
        if gate_id in known or gate_id in ENDS:
            return False
        seen.add(gate_id)
        open_ += new.gates[gate_id].transitions.values()
    return True


def _stops(procedure: Procedure, to: str) -> bool:
    return to in procedure.gates and procedure.gates[to].gate.effects.end == "stop"


def _script(procedure: Procedure, gate_id: str) -> str | None:
    return procedure.gates[gate_id].gate.texts.get("script")


def _number(value: Any) -> Decimal | None:
    try:
        return None if value is None or isinstance(value, bool) else Decimal(str(value))
    except InvalidOperation:
        return None


def _of_number(was: Any, now: Any, *, more_is_tighter: bool) -> Weight:
    before, after = _number(was), _number(now)
    if before is None or after is None:
        return "tighter" if after is not None and not more_is_tighter else "looser"
    return "neutral" if before == after else "tighter" if (after > before) == more_is_tighter else "looser"


def of_edge(was: Any, now: Any, *, low: bool) -> Weight:
    """Return how a changed lower or upper limit weighs; one that is left out allows everything."""
    before, after = _number(was), _number(now)
    if before == after:
        return "neutral"
    if before is None or after is None:
        return "tighter" if before is None else "looser"
    return "tighter" if (after > before) == low else "looser"


def _of_limits(was: Any, now: Any) -> Weight:
    if not was or not now:
        return "tighter" if now else "looser"
    weights: list[Weight] = [of_edge(was.get(key), now.get(key), low=key == "low") for key in ("low", "high")]
    if any(was.get(key) != now.get(key) for key in ("quantity", "unit")) or _number(
        was.get("accuracy")
    ) != _number(now.get("accuracy")):
        weights.append("looser")
    return gravest(iter(weights))


def _of_block(was: Any, now: Any) -> Weight:
    if not was or not now:
        return "tighter" if now else "looser"
    changed = [key for key in {**was, **now} if was.get(key) != now.get(key)]
    return gravest(of_field(key, was.get(key), now.get(key)) for key in changed)


def _of_asks(was: list[Any], now: list[Any]) -> Weight:
    before, after = ({ask["quantity"]: ask for ask in asks} for asks in (was, now))
    weights: list[Weight] = ["looser"] if set(before) - set(after) else []
    weights += ["tighter"] if set(after) - set(before) else []
    if [one for one in after if one in before] != [one for one in before if one in after]:
        weights.append("looser")  # a row is called in the order of its prompt
    for quantity in set(before) & set(after):
        one, other = before[quantity], after[quantity]
        weights += [of_edge(one.get(key), other.get(key), low=key == "low") for key in ("low", "high")]
        if one.get("decimals") != other.get("decimals"):
            weights.append(_of_number(one.get("decimals"), other.get("decimals"), more_is_tighter=True))
    return gravest(iter(weights))


def _phrases(value: Any) -> set[tuple[str, str]]:
    if isinstance(value, Mapping):
        return {(str(name), text) for name, texts in value.items() for text in texts}
    return {("", text) for text in value or ()}


def _of_phrases(was: Any, now: Any) -> Weight:
    """Return looser for any other phrases: one that is lost may have been the way to a stop."""
    return "neutral" if _phrases(was) == _phrases(now) else "looser"


def _of_names(was: Any, now: Any) -> Weight:
    """Return how a list or mapping of names weighs: what was there must still be there, and in its order."""
    if isinstance(was or {}, Mapping) and isinstance(now or {}, Mapping):
        kept = set((was or {}).items()) <= set((now or {}).items())
        return "tighter" if kept else "looser"
    before, after = ([value] if isinstance(value, str) else list(value or ()) for value in (was, now))
    in_order = [name for name in after if name in before] == before
    return "tighter" if in_order else "looser"


def _of_person(_was: Any, now: Any) -> Weight:
    return "tighter" if now == "second person" else "looser"


def _of_conditions(was: Any, now: Any) -> Weight:
    """Return tighter where the gate is asked whenever it was before: no condition came, and none takes less."""
    before, after = was or {}, now or {}
    kept = all(decider in before and set(before[decider]) <= set(values) for decider, values in after.items())
    return "tighter" if kept else "looser"


def _of_flag(was: Any, now: Any) -> Weight:
    return "tighter" if now and not was else "looser"


_OF_FIELDS: Mapping[str, Callable[[Any, Any], Weight]] = {
    **dict.fromkeys(_NEUTRAL, lambda _was, _now: "neutral"),
    "title": lambda _was, _now: "wording",
    **dict.fromkeys(_TRUE_IS_TIGHTER, _of_flag),
    **dict.fromkeys(_GAIN_IS_TIGHTER, _of_names),
    "answered_by": _of_person,
    "when": _of_conditions,
    "limits": _of_limits,
    "settle": _of_block,
    "ask": lambda was, now: _of_asks(was or [], now or []),
    "volume": lambda was, now: _of_asks([was] if was else [], [now] if now else []),
    "done": _of_phrases,
    "answers": _of_phrases,
}
"""A field -> how a change of it weighs; one that is not here is looser whatever it was."""
