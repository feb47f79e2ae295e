"""What changed between two procedures in meaning, not in text: transitions, limits, sources, phrases, proofs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from handsfree.documents import Place
from handsfree.gates.block import GateBlock
from handsfree.procedure.procedure import PlacedGate, Procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.proofs.finding import PROOFS
from handsfree.procedure.table_comparison import row_changes
from handsfree.procedure.trade_comparison import trade_changes
from handsfree.procedure.weighing import Weight, gravest, of_field, of_gate_added, of_transition
from handsfree.questions.ask import Thing

ASPECTS: Mapping[str, frozenset[str]] = {
    "limits": frozenset(
        {
            "seconds",
            "at_most",
            "settle",
            "least_seconds",
            "ask",
            "volume",
            "calculation",
            "rate",
            "using",
            "voids",
            "limits",
        }
    ),
    "sources": frozenset({"source", "settle.source"}),
    "phrases": frozenset({"done", "answers", "own_words", "note", "goes_out"}),
    "wording": frozenset({"title", "prompt", "script"}),
    "things": frozenset({"alters", "restores", "things", "needs", "captures"}),
    "records": frozenset({"point", "only_recorded", "signed_by"}),
    "watching": frozenset({"firing"}),
    "order": frozenset({"when"}),
}
"""What a field of a gate is about; where a gate leads is told by its transitions and not by its fields."""

_TOLD_BY_TRANSITIONS = frozenset(
    {
        "id",
        "kind",
        "then",
        "exhausted",
        "unsettled",
        "dropped_back",
        "no_advice",
        "branches",
        "not_done",
        "exits",
        "otherwise",
    }
)


LONG = 250
"""Letters of two lists from which on only what differs between them is told: no two prompts are as long."""


@dataclass(frozen=True)
class Change:
    """One change of meaning: what it is about, where, and before and after."""

    aspect: str
    gate: str
    what: str
    before: str = ""
    after: str = ""
    weight: Weight = "looser"
    key: str = ""
    """The key of the gate that it stands under, where it is one."""
    language: str = ""
    """The language in which alone it shows, where that is not the procedure's own."""
    place: Place | None = None
    """Where it is to be looked at, if neither in a gate nor in the procedure's own file."""

    def sentence(self) -> str:
        """Return the change as one line."""
        here = "".join(f"{one}: " for one in (self.gate, self.language) if one)
        if self.before or self.after:
            before, after = _where_unlike(self.before or "nothing", self.after or "nothing")
            return f"{here}{self.what}: {before} -> {after}"
        return f"{here}{self.what}"


def _where_unlike(before: str, after: str) -> tuple[str, str]:
    """Return two long lists without what they begin and end alike with, but one name on either side."""
    was, now = before.split(", "), after.split(", ")
    if len(before) + len(after) < LONG:
        return before, after
    pairs = list(zip(was, now, strict=False))
    lead = max(0, next((n for n, (one, other) in enumerate(pairs) if one != other), len(pairs)) - 1)
    ends = list(zip(reversed(was[lead:]), reversed(now[lead:]), strict=False))
    tail = max(0, next((n for n, (one, other) in enumerate(ends) if one != other), len(ends)) - 1)
    cut = [["..."] * bool(lead) + one[lead : len(one) - tail] + ["..."] * bool(tail) for one in (was, now)]
    return ", ".join(cut[0]), ", ".join(cut[1])


def meaning(placed: PlacedGate) -> dict[str, Any]:
    """Return what a gate means apart from where it leads; transitions are compared by themselves."""
    fields = {name: value for name, value in _plain(placed.gate).items() if name not in _TOLD_BY_TRANSITIONS}
    if "answers" in fields:
        answers = fields["answers"]
        fields["answers"] = {name: answer["heard"] for name, answer in answers.items()}
        for flag in ("note", "goes_out"):
            if named := [name for name, answer in answers.items() if answer.get(flag)]:
                fields[flag] = named
    if isinstance(fields.get("settle"), dict):
        fields["settle.source"] = fields["settle"].pop("source")
    if placed.gate.effects.end == "stop":
        del fields["firing"]  # a stopped visit watches for nothing
    return {"kind": placed.gate.kind, **fields}


def _plain(gate: GateBlock) -> dict[str, Any]:
    return gate.model_dump(mode="json", exclude_none=True)


def changes(old: Procedure, new: Procedure) -> tuple[Change, ...]:
    """Return every change of meaning; none when the two lead every visit alike in the same words."""
    own = tuple(_changes(old, new))
    both = [name for name in new.file.translations if name in old.file.translations]
    for language in both if old.catalogue.language == old.file.language else ():
        translated = _changes(old.in_language(language), new.in_language(language))
        own += tuple(replace(change, language=language) for change in translated if change not in own)
    return own


def _changes(old: Procedure, new: Procedure) -> Iterator[Change]:
    renamed = _renamed(old, new)
    for was, now in renamed.items():
        yield Change("gates", now, "renamed", was, now, "neutral")
    gone = [gate_id for gate_id in old.gates if gate_id not in new.gates and gate_id not in renamed]
    come = [gate_id for gate_id in new.gates if gate_id not in old.gates and gate_id not in renamed.values()]
    for gate_id in gone:
        gate = old.gates[gate_id].gate
        weight: Weight = "tighter" if gate.kind == "entry" else "looser"
        yield Change("gates", gate_id, f"removed ({gate.title})", weight=weight)
    for gate_id in come:
        yield Change(
            "gates", gate_id, f"added ({new.gates[gate_id].gate.title})", weight=of_gate_added(new, gate_id)
        )
    if renamed.get(old.first, old.first) != new.first:
        put_in = new.first not in old.gates and old.first in new.gates
        yield Change("order", "", "the first gate", old.first, new.first, "neutral" if put_in else "looser")
    for gate_id, before in old.gates.items():
        after = new.gates.get(renamed.get(gate_id, gate_id))
        if after is not None:
            yield from _of_gate(old, new, before, after, renamed)
    yield from _of_things(old, new)
    yield from _of_claims(old, new)
    yield from _of_file(old, new)


def _renamed(old: Procedure, new: Procedure) -> dict[str, str]:
    """Return old id -> new id of gates that mean the same under another name and are alike to no other."""
    gone = {gate_id: meaning(placed) for gate_id, placed in old.gates.items() if gate_id not in new.gates}
    come = {gate_id: meaning(placed) for gate_id, placed in new.gates.items() if gate_id not in old.gates}
    found = {}
    for gate_id, was in gone.items():
        same = [name for name, now in come.items() if now == was]
        if len(same) == 1 and sum(other == was for other in gone.values()) == 1:
            found[gate_id] = same[0]
    return found


def _of_gate(
    old: Procedure, new: Procedure, before: PlacedGate, after: PlacedGate, renamed: Mapping[str, str]
) -> Iterator[Change]:
    was, now = meaning(before), meaning(after)
    for name in dict.fromkeys((*was, *now)):
        if was.get(name) != now.get(name):
            if name == "limits" and (rows := _of_rows(before, after)) is not None:
                yield from rows
                continue
            weight = of_field(name, was.get(name), now.get(name))
            yield Change(_aspect(name), after.id, name, _shown(was.get(name)), _shown(now.get(name)), weight, name)
    for outcome in dict.fromkeys((*before.transitions, *after.transitions)):
        led, leads = before.transitions.get(outcome), after.transitions.get(outcome)
        if led is not None and renamed.get(led, led) == leads:
            continue
        if led != leads:
            weight = of_transition(old, new, outcome, led, leads)
            yield Change("order", after.id, f'on "{outcome}"', led or "", leads or "", weight)


def _of_rows(before: PlacedGate, after: PlacedGate) -> tuple[Change, ...] | None:
    """Return what changed in limits of which one at least stand in a table; None where none do."""
    judged, judges = before.gate.effects.judges, after.gate.effects.judges
    was, now = (None if one is None else one.limits for one in (judged, judges))
    if was is None or now is None or (was.rows is None and now.rows is None):
        return None
    return tuple(
        Change("limits", after.id, row.what, row.before, row.after, row.weight, "limits")
        for row in row_changes(was, now)
    )


def _aspect(field: str) -> str:
    return next((aspect for aspect, fields in ASPECTS.items() if field in fields), "gates")


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name} {_shown(item)}" for name, item in value.items())
    if isinstance(value, list):
        return ", ".join(_shown(item) for item in value)
    return "" if value is None else str(value)


def _of_things(old: Procedure, new: Procedure) -> Iterator[Change]:
    for name in dict.fromkeys((*old.things, *new.things)):
        was, now = old.things.get(name), new.things.get(name)
        if was != now:
            before = "" if was is None else _shown(was.model_dump(exclude_none=True))
            after = "" if now is None else _shown(now.model_dump(exclude_none=True))
            yield Change("things", "", f"the thing {name}", before, after, _of_thing(was, now))


def _of_thing(was: Thing | None, now: Thing | None) -> Weight:
    if was is None or now is None:
        return "looser" if now is None else "tighter"
    old, new = was.model_dump(), now.model_dump()
    return gravest(of_field(key, old[key], new[key]) for key in old if old[key] != new[key])


def _of_file(old: Procedure, new: Procedure) -> Iterator[Change]:
    for field in ("title", "purpose"):
        was, now = getattr(old.file, field), getattr(new.file, field)
        if was != now:
            yield Change("wording", "", field, was, now, "wording")
    was, now = (tuple(" then ".join(one) for one in of.file.in_order) for of in (old, new))
    if was != now:
        weight: Weight = "tighter" if set(was) <= set(now) else "looser"
        yield Change("order", "", "in_order", _shown(list(was)), _shown(list(now)), weight)
    for field in ("language", "trade", "readings"):
        was, now = getattr(old.file, field), getattr(new.file, field)
        if was != now:
            yield Change("records", "", field, was, now)
    for language in {**old.file.translations, **new.file.translations}:
        was, now = old.file.translations.get(language, ""), new.file.translations.get(language, "")
        if was != now:
            weight = "neutral" if not was else "tighter" if now == "complete" else "looser"
            yield Change("wording", "", f"translations: {language}", was, now, weight)
    if old.file.begins != new.file.begins:
        yield Change("things", "", "begins", _shown(old.file.begins), _shown(new.file.begins))
    yield from _of_lists(old, new)
    yield from _of_words(old, new)
    for one in trade_changes(old.trade, new.trade):
        yield Change("trade", "", one.what, one.before, one.after, one.weight, place=one.place)


def _of_lists(old: Procedure, new: Procedure) -> Iterator[Change]:
    for field, aspect in (("cautions", "wording"), ("jobsheet", "records")):
        was_all, now_all = getattr(old.file, field), getattr(new.file, field)
        for item in was_all:
            if item not in now_all:
                yield Change(aspect, "", f"{field} loses", item, "")
        for item in now_all:
            if item not in was_all:
                yield Change(aspect, "", f"{field} gains", "", item, "tighter")


def _of_words(old: Procedure, new: Procedure) -> Iterator[Change]:
    for word in dict.fromkeys((*old.words, *new.words)):
        if old.words.get(word) != new.words.get(word):
            weight: Weight = "looser" if word in old.words and word in new.words else "neutral"
            said, says = old.words.get(word, ""), new.words.get(word, "")
            yield Change("phrases", "", f"how {word} is said", said, says, weight)


def _of_claims(old: Procedure, new: Procedure) -> Iterator[Change]:
    were, are = _claims(old), _claims(new)
    for says in dict.fromkeys((*were, *are)):
        if were.get(says) != are.get(says):
            before, after = were.get(says, ""), are.get(says, "")
            shown_by = set(after.split(", ")), set(before.split(", "))
            tighter = not before or (bool(after) and shown_by[0] <= shown_by[1])
            yield Change("records", "", f"proves {says}", before, after, "tighter" if tighter else "looser")


def _claims(procedure: Procedure) -> dict[str, str]:
    """Return what a procedure is for, with the gates that show it."""
    return {claim.says: ", ".join(claim.by) for claim in procedure.file.proves}


@dataclass(frozen=True)
class ProofChange:
    """A proof that holds for one of the two only."""

    proof: str
    gained: bool
    reasons: tuple[str, ...]


def proof_changes(old: Procedure, new: Procedure) -> tuple[ProofChange, ...]:
    """Return the proofs that were lost or gained, with what breaks them."""
    before, after = check(old), check(new)
    found = []
    for proof in PROOFS:
        was, now = before.failed(proof), after.failed(proof)
        if bool(was) != bool(now):
            reasons = tuple(finding.what for finding in (was or now))
            found.append(ProofChange(proof, gained=bool(was), reasons=reasons))
    return tuple(found)


def place_of(change: Change, old: Procedure, new: Procedure) -> Place:
    """Return where a change is to be looked at: in the new procedure, or where it stood in the old one."""
    if change.place is not None:
        return change.place
    for procedure in (new, old):
        if change.gate in procedure.gates:
            return procedure.gates[change.gate].at(*((change.key,) if change.key else ()))
    document = new.documents[0]
    name = change.what.rpartition(" ")[2]
    path = ("things", name) if change.aspect == "things" else (change.what.partition(" ")[0],)
    return document.key_place(path)
