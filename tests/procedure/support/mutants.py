"""Damaged procedures, to try the proofs on: every single-step damage that the language's model allows.

Nothing here lists damages by hand. The classes of the language are walked field by field, and the type of
a field says what can go wrong with it: a target can lead elsewhere, a list can lose an item, a bound can be
removed or widened, a phrase can come to sound like another, a source can be lost.
"""

from __future__ import annotations

import copy
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from homophones import near_homophone
from pydantic import BaseModel

from handsfree.documents import Document, Path_, read_document
from handsfree.gates import GATE_KINDS
from handsfree.lexicon.catalogue import Catalogue
from handsfree.procedure.file import IncludeGate
from handsfree.procedure.procedure import Procedure, load_procedure

KINDS: dict[str, type[BaseModel]] = {
    kind.model_fields["kind"].annotation.__args__[0]: kind for kind in (*GATE_KINDS, IncludeGate)
}


@dataclass(frozen=True)
class Mutant:
    """One damage: what was done, to which gate and key, and the content of the file that results."""

    damage: str
    gate: str
    key: str
    detail: str
    content: Any

    def __str__(self) -> str:
        return f"{self.damage}: {self.gate}.{self.key} {self.detail}".rstrip()


def load_mutant(whole: Path, part: Path, mutant: Mutant, documents: Mapping[Path, Document]) -> Procedure:
    """Return the procedure `whole` with its file `part` damaged; raise Problem when it does not even load."""

    def read(wanted: Path) -> Document:
        known = documents.get(wanted.resolve())
        document = known if known is not None else read_document(wanted)
        return replace(document, content=mutant.content) if wanted.resolve() == part.resolve() else document

    return load_procedure(whole, read)


def documents_of(whole: Path) -> dict[Path, Document]:
    """Return the files of a procedure, read once."""
    return {Path(document.file).resolve(): document for document in load_procedure(whole).documents}


def mutants(document: Document, catalogue: Catalogue) -> Iterator[Mutant]:
    """Yield every single-step damage of a procedure file."""
    gates = document.content["gates"]
    ids = [gate["id"] for gate in gates]
    for number, gate in enumerate(gates):
        kind = KINDS[gate["kind"]]
        for damage, path, detail, value in _damages(kind, gate, _Surroundings(ids, number, gate, catalogue)):
            block = copy.deepcopy(gate)
            _put(block, path, value)
            changed = [*gates[:number], block, *gates[number + 1 :]]
            yield Mutant(
                damage, gate["id"], ".".join(map(str, path)), detail, {**document.content, "gates": changed}
            )
    for number in range(len(gates) - 1):
        changed = [*gates[:number], gates[number + 1], gates[number], *gates[number + 2 :]]
        told = f"with {ids[number + 1]}"
        yield Mutant("swap gates", ids[number], "", told, {**document.content, "gates": changed})
    for number in range(len(gates)):
        changed = [*gates[:number], *gates[number + 1 :]]
        yield Mutant("drop gate", ids[number], "", "", {**document.content, "gates": changed})
    yield from _of_things(document.content)


def _of_things(content: Mapping[str, Any]) -> Iterator[Mutant]:
    things = content.get("things", {})
    for name, thing in things.items():
        swapped = {**thing, "altered": thing["restored"], "restored": thing["altered"]}
        yield Mutant("swap states", name, "altered", "", {**content, "things": {**things, name: swapped}})
        if "value" in thing:
            bare = {key: item for key, item in thing.items() if key != "value"}
            yield Mutant("lose the setting", name, "value", "", {**content, "things": {**things, name: bare}})


_LOST = object()
_Damage = tuple[str, Path_, str, Any]


def _put(block: Any, path: Path_, value: Any) -> None:
    for part in path[:-1]:
        block = block[part]
    if value is _LOST:
        del block[path[-1]]
    else:
        block[path[-1]] = value


@dataclass(frozen=True)
class _Surroundings:
    """What a damage may use: the ids of the file, where the gate stands, and the words."""

    ids: list[str]
    number: int
    gate: Mapping[str, Any]
    catalogue: Catalogue

    def other_targets(self, target: str) -> list[str]:
        """Return wrong targets: the gate itself, its neighbours, and the neighbours of where it led."""
        at = self.ids.index(target) if target in self.ids else self.number
        near = [at + 1, at - 1, self.number, self.number + 1, self.number - 1, len(self.ids) - 1, 0]
        found = [self.ids[i] for i in near if 0 <= i < len(self.ids)]
        return [name for name in dict.fromkeys(found) if name != target]

    def heard(self) -> list[str]:
        """Return phrases that the gate accepts, its own and a few understood everywhere."""
        own = list(self.gate.get("done", self.catalogue.answers["done"] if self.gate["kind"] == "confirm" else []))
        for answer in self.gate.get("answers", {}).values():
            own += answer["heard"]
        stops = [text for hazard in self.catalogue.hazards.values() for text in hazard.heard[:1]]
        return [*own, self.catalogue.everywhere["not-done"][0], self.catalogue.everywhere["repeat"][0], *stops]


def _damages(kind: type[BaseModel], block: Mapping[str, Any], around: _Surroundings) -> Iterator[_Damage]:
    for name, field in kind.model_fields.items():
        if name in {"id", "kind", "title", "file"}:
            continue
        aliases = _aliases(kind, name)
        if name in block:
            if not field.is_required():
                yield f"drop {name}", (name,), "", _LOST
            yield from _of_value(field.annotation, aliases, block[name], (name,), around)
        elif field.annotation is bool:
            yield f"flip {name}", (name,), f"to {not field.default}", not field.default
        elif name == "not_done":
            yield "flip not_done", (name,), "to False", False


def _of_value(  # noqa: C901 - one case a type of the language
    annotation: Any, aliases: frozenset[str], value: Any, path: Path_, around: _Surroundings
) -> Iterator[_Damage]:
    name = str(path[0])
    if isinstance(value, str) and value.startswith("$"):
        return
    if isinstance(value, bool):
        yield f"flip {name}", path, f"to {not value}", not value
    elif isinstance(value, int | Decimal):
        for factor in (10, Decimal("0.1")):
            scaled = value * factor
            yield f"widen {path[-1]}", path, f"to {scaled}", int(scaled) if isinstance(value, int) else scaled
    elif isinstance(value, str) and "Target" in aliases:
        for other in around.other_targets(value):
            yield f"retarget {name}", path, f"to {other}", other
    elif isinstance(value, str) and "Prompt" in aliases:
        yield f"hazard phrase in {name}", path, "", f"{value.split()[0]} Gas smell, now."
        yield f"longer {name}", path, "", f"{value} Then go on with all the rest of it as well, please."
        if name == "script":
            yield "action last", path, "", f"A fault. {value.split('.')[0]}."
    elif isinstance(value, str) and (choices := _literals(annotation)):
        for other in choices:
            if other != value:
                yield f"swap {path[-1]}", path, f"to {other}", other
    elif isinstance(value, str) and path[-1] == "source":
        yield "empty source", path, "", ""
    elif isinstance(value, str) and "Phrase" in aliases:
        yield f"wrong state in {name}", path, "", f"not {value}"
    elif isinstance(value, str):
        yield f"rename {path[-1]}", path, "", f"{value}-other" if "-" in value or name != "using" else f"{value}x"
    elif isinstance(value, list):
        for index, item in enumerate(value):
            if len(value) > 1 or name in {"alters", "restores", "things", "voids"}:
                kept = [other for i, other in enumerate(value) if i != index]
                yield f"drop item of {name}", path, f"{item}" if isinstance(item, str) else f"{index}", kept
            if "Phrases" in aliases:
                yield from _homophones(name, path, value, index, around)
            elif isinstance(item, dict):
                yield from _of_mapping(annotation, item, (*path, index), around)
        if len(value) > 1 and not isinstance(value[0], str):
            yield f"reverse {name}", path, "", value[::-1]
    elif isinstance(value, dict):
        yield from _of_mapping(annotation, value, path, around)


def _of_mapping(
    annotation: Any, value: Mapping[str, Any], path: Path_, around: _Surroundings
) -> Iterator[_Damage]:
    inner = _block_in(annotation)
    for key, item in value.items():
        if inner is not None and key in inner.model_fields:
            field = inner.model_fields[key]
            if not field.is_required():
                yield f"drop {key}", (*path, key), "", _LOST
            yield from _of_value(field.annotation, _aliases(inner, key), item, (*path, key), around)
            continue
        yield f"drop entry of {path[0]}", (*path, key), str(key), _LOST
        if isinstance(item, dict) and inner is not None:
            for field_name, nested in item.items():
                field = inner.model_fields[field_name]
                yield from _of_value(
                    field.annotation, _aliases(inner, field_name), nested, (*path, key, field_name), around
                )
        else:
            aliases = frozenset({"Target"}) if path[0] in {"branches", "exits"} else frozenset({"Phrase"})
            yield from _of_value(str, aliases if path[0] != "using" else frozenset(), item, (*path, key), around)


def _homophones(name: str, path: Path_, value: list[str], index: int, around: _Surroundings) -> Iterator[_Damage]:
    for other in around.heard():
        if other in value:
            continue
        like = near_homophone(other)
        if like is not None:
            changed = [*value[:index], like, *value[index + 1 :]]
            yield f"near-homophone in {name}", path, f"{like!r} for {other!r}", changed


def _aliases(kind: type[BaseModel], name: str) -> frozenset[str]:
    """Return which of the language's named types a field is written with."""
    for owner in kind.__mro__:
        text = vars(owner).get("__annotations__", {}).get(name)
        if text is not None:
            words = str(text).replace("[", " ").replace("]", " ").replace("|", " ").replace(",", " ").split()
            return frozenset(words)
    return frozenset()


def _parts(annotation: Any) -> Iterator[Any]:
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _parts(get_args(annotation)[0])
    elif origin in {Union, types.UnionType, tuple, dict, list}:
        for part in get_args(annotation):
            yield from _parts(part)
    else:
        yield annotation


def _block_in(annotation: Any) -> type[BaseModel] | None:
    for part in _parts(annotation):
        if isinstance(part, type) and issubclass(part, BaseModel):
            return part
    return None


def _literals(annotation: Any) -> tuple[Any, ...]:
    for part in _parts(annotation):
        if get_origin(part) is Literal:
            return get_args(part)
    return ()
