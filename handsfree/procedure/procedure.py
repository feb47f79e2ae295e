"""A procedure as it is run: included files flattened, every transition between gates spelled out."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from handsfree.documents import Document, Path_, Place, read_document, validate
from handsfree.gates import Gate
from handsfree.gates.asking import scope_of
from handsfree.gates.block import GateBlock
from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.finish import FinishGate
from handsfree.gates.kind import KeyPath
from handsfree.gates.outcomes import EXHAUSTED, NOT_DONE
from handsfree.gates.restore import RestoreGate
from handsfree.lexicon.catalogue import Catalogue
from handsfree.problem import Problem
from handsfree.procedure.file import AnyGate, IncludeGate, ProcedureFile
from handsfree.procedure.languages import load_language
from handsfree.procedure.moves import Moves
from handsfree.procedure.older_versions import refuse_older
from handsfree.procedure.trades import TradeData, quantities_named, refuse_unknown, trade_data_asked
from handsfree.questions.ask import Thing
from handsfree.questions.kind import Scope
from handsfree.trades.registry import trade

DEEPEST_INCLUDE = 6


@dataclass(frozen=True)
class PlacedGate:
    """A flattened gate: its full id, its block, where each outcome leads, and where it stands in its file."""

    id: str
    gate: Gate
    transitions: Mapping[str, str]
    place: Place


@dataclass(frozen=True)
class Procedure:
    """A whole procedure, flattened: gates by full id in order, the things they alter, and its sources."""

    file: ProcedureFile
    gates: Mapping[str, PlacedGate]
    things: Mapping[str, Thing]
    documents: tuple[Document, ...]
    words: Mapping[str, str]
    catalogue: Catalogue
    """The words of its language and its trade."""
    trade: TradeData
    moves: Moves

    @property
    def name(self) -> str:
        """The procedure's name."""
        return self.file.procedure

    @property
    def first(self) -> str:
        """The id of the gate where a visit begins."""
        return next(iter(self.gates))

    @cached_property
    def adjusts(self) -> bool:
        """Whether it ever turns an adjuster."""
        return any(placed.gate.effects.turns for placed in self.gates.values())

    def gate(self, gate_id: str) -> PlacedGate:
        """Return the gate; raise Problem when there is none of that id."""
        if gate_id not in self.gates:
            raise Problem(
                f"there is no gate {gate_id!r}",
                where=self.documents[0].file,
                remedy=f"it has: {', '.join(self.gates)}",
            )
        return self.gates[gate_id]

    def scope(self, gate_id: str, catalogue: Catalogue | None = None) -> Scope:
        """Return what a question asked at a gate may look at, in the procedure's own words or in other ones."""
        words = catalogue or self.catalogue
        gate, of = self.gate(gate_id).gate, trade(self.trade.name)
        return scope_of(gate, self.things, words, of, adjusts=self.adjusts)

    def version(self) -> str:
        """Return the SHA-256 over all files in the order they were read: the version of the procedure as run."""
        digest = hashlib.sha256()
        for document in self.documents:
            digest.update(hashlib.sha256(document.text.encode()).digest())
        return digest.hexdigest()


def load_procedure(path: Path, read: Callable[[Path], Document] = read_document) -> Procedure:
    """Read a procedure file and all it includes; raise Problem at the first fault, with its line.

    `read` gives the document of a path: the authors' tools give documents that stand in no file.
    """
    flat = _Flat(read)
    file = flat.add(path, prefix="", parameters={}, exits=None, trail=())
    moves = flat.resolve()
    _check_claims(file, flat)
    documents = tuple(flat.documents)
    return Procedure(file, flat.gates, flat.things, documents, flat.words, flat.catalogue, flat.trade, moves)


def _check_claims(file: ProcedureFile, flat: _Flat) -> None:
    """Refuse a claim by a gate that is none, or that only reads: the verdict that judges it shows more."""
    for number, claim in enumerate(file.proves):
        for at, gate_id in enumerate(claim.by):
            place = flat.documents[0].place(("proves", number, "by", at))
            _need(gate_id in flat.gates, f"there is no gate {gate_id!r}", place, "name a gate, with its prefix")
            effects = flat.gates[gate_id].gate.effects
            _need(
                not effects.kept_at and effects.end is None,
                f"{gate_id} {'only reads' if effects.kept_at else 'is an end'}, which proves nothing",
                place,
                "name the verdict that judges it, or a step that is done",
            )


class _Flat:
    """The gates collected so far while files are read depth first."""

    def __init__(self, read: Callable[[Path], Document]) -> None:
        self.read = read
        self.gates: dict[str, PlacedGate] = {}
        self.things: dict[str, Thing] = {}
        self.words: dict[str, str] = {}
        self.documents: list[Document] = []
        self.catalogue: Catalogue
        self.trade: TradeData
        self.entries: dict[str, str] = {}  # the id of an include -> its first gate

    def add(
        self,
        path: Path,
        *,
        prefix: str,
        parameters: Mapping[str, Any],
        exits: Mapping[str, str] | None,
        trail: tuple[Path, ...],
        included_at: Place | None = None,
    ) -> ProcedureFile:
        if path.resolve() in trail or len(trail) >= DEEPEST_INCLUDE:
            where = str(included_at or path)
            raise Problem(f"{path.name} includes itself", where=where, remedy="remove the circle of includes")
        document = self.read(path)
        refuse_older(document)
        self.documents.append(document)
        content = _filled(document, parameters, included_at)
        file = validate(ProcedureFile, document, content)
        self._names(file, document, path)
        self._merge(file, document)
        self._trade(file, document, path, included_at, content)
        self._language(file, document, path, included_at)
        if exits is not None and included_at is not None:
            missing = set(file.exits) - set(exits)
            _need(not missing, f"exits not led anywhere: {', '.join(sorted(missing))}", included_at, "add them")
            unknown = set(exits) - set(file.exits)
            _need(not unknown, f"{path.name} has no exit {', '.join(sorted(unknown))}", included_at, "remove it")
        gates = [
            *(_answered(gate, self.catalogue) for gate in file.gates),
            *(_own_end(file, self.catalogue) if exits is None else ()),
        ]
        ends = (
            dict.fromkeys(file.exits, gates[len(file.gates)].id if file.exits else "") if exits is None else exits
        )
        ids = [gate.id for gate in gates]
        for number, gate in enumerate(gates):
            place = document.place(("gates", number)) if number < len(file.gates) else Place(document.file, 1, 1)
            _need(ids.count(gate.id) == 1, f"the gate id {gate.id!r} stands twice", place, "rename one of them")
            following = ids[number + 1] if number + 1 < len(ids) else None
            target = _Targets(prefix, ids, ends, following, document, number)
            if isinstance(gate, IncludeGate):
                self._include(gate, path, prefix, target, trail)
            else:
                transitions = _transitions(gate, target)
                self.gates[prefix + gate.id] = PlacedGate(prefix + gate.id, gate, transitions, place)
        return file

    def _include(
        self, gate: IncludeGate, path: Path, prefix: str, target: _Targets, trail: tuple[Path, ...]
    ) -> None:
        inner = f"{prefix}{gate.id}/"
        before = len(self.gates)
        exits = {name: target.full(to, ("exits", name)) for name, to in gate.exits.items()}
        inner_path = path.parent / gate.file
        _need(inner_path.is_file(), f"there is no {gate.file} here", target.place("file"), "correct the name")
        self.add(
            inner_path,
            prefix=inner,
            parameters=gate.parameters,
            exits=exits,
            trail=(*trail, path.resolve()),
            included_at=target.place(),
        )
        self.entries[prefix + gate.id] = list(self.gates)[before]

    def _trade(
        self, file: ProcedureFile, document: Document, path: Path, included_at: Place | None, content: Any
    ) -> None:
        """Take the trade of the file that is run; what it includes must be of the same."""
        if included_at is None:
            self.trade = trade_data_asked(file.trade, document.place(("trade",)))
        _need(
            file.trade == self.trade.name,
            f"{path.name} is of the trade {file.trade}, and what includes it of {self.trade.name}",
            included_at or document.place(("trade",)),
            "include files of one trade",
        )
        for at, quantity in quantities_named(content):
            refuse_unknown(quantity, self.trade.quantities, document.place(at))
        for number, gate in enumerate(file.gates):
            _need(
                self.trade.file.fires or not getattr(gate, "firing", False),
                f"nothing fires in {self.trade.name}",
                document.place(("gates", number, "firing")),
                "remove `firing`",
            )
            hazard = getattr(gate, "hazard", None)
            _need(
                hazard is None or hazard in self.trade.stops.stops,
                f"{self.trade.name} has no stop {hazard!r}",
                document.place(("gates", number, "hazard")),
                f"write one of: {', '.join(self.trade.stops.stops)}",
            )

    def _language(self, file: ProcedureFile, document: Document, path: Path, included_at: Place | None) -> None:
        """Load the language of the file that is run; what it includes must be written in the same."""
        if included_at is None:
            self.catalogue, beside = load_language(
                file.language, self.trade, path.parent, document.place(("language",)), self.read
            )
            self.language = file.language
            self.documents += beside
        _need(
            file.language == self.language,
            f"{path.name} is written in {file.language}, and what includes it in {self.language}",
            included_at or document.place(("language",)),
            "include files of one language",
        )

    def _names(self, file: ProcedureFile, document: Document, path: Path) -> None:
        _need(
            file.procedure == path.stem,
            f"the procedure is called {file.procedure!r} but the file {path.name!r}",
            document.place(("procedure",)),
            "give both the same name",
        )

    def _merge(self, file: ProcedureFile, document: Document) -> None:
        for name, thing in file.things.items():
            known = self.things.setdefault(name, thing)
            _need(known == thing, f"{name!r} means another thing", document.place(("things", name)), "rename it")
        self.words.update(file.words)

    def resolve(self) -> Moves:
        """Let transitions into an include lead to its first gate, and check what the gates refer to."""
        moves = Moves(
            {
                gate_id: {outcome: self._entry(to) for outcome, to in placed.transitions.items()}
                for gate_id, placed in self.gates.items()
            }
        )
        for gate_id, placed in self.gates.items():
            self.gates[gate_id] = PlacedGate(gate_id, placed.gate, moves.transitions(gate_id), placed.place)
            self._check_things(placed)
        return moves

    def _entry(self, target: str) -> str:
        while target in self.entries:
            target = self.entries[target]
        return target

    def _check_things(self, placed: PlacedGate) -> None:
        gate = placed.gate
        effects = gate.effects
        named = [*gate.needs, *effects.alters, *effects.restores]
        named += [effects.captures] if effects.captures else []
        for name in named:
            _need(name in self.things, f"there is no thing {name!r}", placed.place, "add it under things")
        for name, state in gate.needs.items():
            thing = self.things[name]
            _need(
                state in {thing.altered, thing.restored},
                f"{name} can be {thing.altered!r} or {thing.restored!r}, not {state!r}",
                placed.place,
                "use one of them",
            )


def _answered(gate: AnyGate, catalogue: Catalogue) -> AnyGate:
    """Return a confirmation without words of its own with the language's word for "done"."""
    if isinstance(gate, ConfirmGate) and not gate.done:
        return gate.model_copy(update={"done": catalogue.answers["done"]})
    return gate


def _own_end(file: ProcedureFile, catalogue: Catalogue) -> list[RestoreGate | FinishGate]:
    """Return the gates a file with exits ends with when it is run by itself."""
    if not file.exits:
        return []
    finish = FinishGate(kind="finish", id="finish", title=catalogue.sayings["finish-title"])
    if not file.things:
        return [finish]
    things = tuple(file.things)
    title = catalogue.sayings["put-back-title"]
    return [RestoreGate(kind="restore", id="put-back", title=title, things=things), finish]


@dataclass(frozen=True)
class _Targets:
    """Turns the targets written in one gate into full ids."""

    prefix: str
    ids: list[str]
    exits: Mapping[str, str]
    following: str | None
    document: Document
    number: int

    def place(self, *path: str) -> Place:
        return self.document.place(("gates", self.number, *path))

    def full(self, target: str, path: KeyPath = ()) -> str:
        place = self.document.place(("gates", self.number, *path))
        if target.startswith("exit "):
            name = target.removeprefix("exit ")
            _need(name in self.exits, f"there is no exit {name!r}", place, "add it under exits")
            return self.exits[name]
        _need(target in self.ids, f"there is no gate {target!r}", place, f"it has: {', '.join(self.ids)}")
        return self.prefix + target

    def then(self, gate: GateBlock) -> str:
        if gate.then is not None:
            return self.full(gate.then, ("then",))
        _need(
            self.following is not None,
            f"the last gate {gate.id!r} leads nowhere",
            self.place(),
            "give it `then`, or end with a finish gate",
        )
        return self.prefix + str(self.following)

    def not_done(self, gate: GateBlock, *, needs_then: bool = False) -> str | None:
        if isinstance(gate.not_done, str):
            return self.full(gate.not_done, ("not_done",))
        if not gate.not_done:
            return None
        _need(
            not needs_then or gate.then is not None,
            "a choice needs `not_done` as a gate or false, or `then`",
            self.place(),
            "say where it leads when it is not done",
        )
        return self.then(gate)


def _transitions(gate: Gate, target: _Targets) -> dict[str, str]:
    """Return outcome -> full id for every outcome the gate can have."""
    transitions = gate.transitions(target)
    if gate.exhausted is None:
        return transitions
    refused = {outcome: to for outcome, to in transitions.items() if outcome == NOT_DONE}
    own = {outcome: to for outcome, to in transitions.items() if outcome != NOT_DONE}
    return {**own, EXHAUSTED: target.full(gate.exhausted), **refused}


def _need(condition: object, what: str, place: Place, remedy: str) -> None:
    if not condition:
        raise Problem(what, where=str(place), remedy=remedy)


def _filled(document: Document, parameters: Mapping[str, Any], included_at: Place | None) -> Any:
    """Return the content with every `$name` replaced by the parameter of that name."""
    declared = document.content.get("parameters", {}) if isinstance(document.content, dict) else {}
    declared = declared if isinstance(declared, dict) else {}
    for name in parameters:
        place = included_at or document.place(("parameters",))
        _need(name in declared, f"{document.file} has no parameter {name!r}", place, "remove it")
    values = {**declared, **parameters}

    def fill(value: Any, path: Path_) -> Any:
        if isinstance(value, dict):
            return {key: fill(item, (*path, key)) for key, item in value.items()}
        if isinstance(value, list):
            return [fill(item, (*path, i)) for i, item in enumerate(value)]
        if isinstance(value, str) and value.startswith("$"):
            name = value[1:]
            _need(name in values, f"there is no parameter {name!r}", document.place(path), "declare it")
            return values[name]
        return value

    return fill(document.content, ())
