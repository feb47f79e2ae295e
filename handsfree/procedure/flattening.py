"""A file and all it includes, read depth first and put together: gates by full id, and where they lead."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from handsfree.documents import Document, NoSuchFile, Place, validate
from handsfree.gates.kind import KeyPath
from handsfree.gates.outcomes import DONE, NOT_ASKED
from handsfree.gates.table import ENDING
from handsfree.lexicon.catalogue import Catalogue
from handsfree.problem import Problem
from handsfree.procedure.added import answered, entry_of, of_item, own_end
from handsfree.procedure.branching import Beside, check_deciders, refuse_too_many
from handsfree.procedure.file import NEXT_ITEM, IncludeGate, ProcedureFile
from handsfree.procedure.languages import load_language
from handsfree.procedure.moves import Moves
from handsfree.procedure.older_versions import refuse_older
from handsfree.procedure.parameters import Parameter, given_in
from handsfree.procedure.placed import PlacedGate
from handsfree.procedure.tables import refuse_wrong_reading, with_tables
from handsfree.procedure.targets import WrittenTargets, need, transitions_of
from handsfree.procedure.trades import TradeData, quantities_named, refuse_unknown, trade_data_asked
from handsfree.procedure.translation import OneLanguage, languages_of
from handsfree.questions.ask import Thing
from handsfree.trades import DEFAULT_TRADE

DEEPEST_INCLUDE = 6


class Flattening:
    """The gates collected so far while files are read depth first."""

    def __init__(self, read: Callable[[Path], Document], language: str | None) -> None:
        self.read = read
        self.language = OneLanguage(language)
        self.gates: dict[str, PlacedGate] = {}
        self.things: dict[str, Thing] = {}
        self.words: dict[str, str] = {}
        self.documents: list[Document] = []
        self.catalogue: Catalogue
        self.trade: TradeData
        self.trades: dict[str, TradeData] = {}  # those that were asked for, by name
        self.entries: dict[str, str] = {}  # the id of an include -> its first gate

    def add(
        self,
        path: Path,
        *,
        prefix: str,
        parameters: Mapping[str, Parameter],
        optional: Mapping[str, Parameter] = MappingProxyType({}),
        exits: Mapping[str, str] | None,
        trail: tuple[Path, ...],
        included_at: Place | None = None,
    ) -> ProcedureFile:
        """Add a file and all it includes; Problem at the first fault."""
        if path.resolve() in trail or len(trail) >= DEEPEST_INCLUDE:
            where = str(included_at or path)
            raise Problem(f"{path.name} includes itself", where=where, remedy="remove the circle of includes")
        document = self.read(path)
        what, remedy = "this is a table of limits, and no procedure", "give a procedure that reads it"
        need(not path.name.endswith(ENDING), what, Place(document.file, 1, 1), remedy)
        refuse_older(document)
        document, content = self.language.filled(document, parameters, optional)
        self.documents.append(document)
        content = self._tables(document, content)
        file = self.language.begun(validate(ProcedureFile, document, content))
        self._names(file, document, path)
        self._merge(file, document)
        for name, begun in file.begins.items():
            known = self.things.get(name)
            right = known is not None and begun in {known.altered, known.restored}
            at = document.place(("begins", name))
            need(right, f"no thing {name!r} can be {begun!r}", at, "write a thing and one of its states")
        self._trade(file, document, path, included_at, content)
        self._language(file, document, path, included_at)
        if exits is not None and included_at is not None:
            missing = sorted(set(file.exits) - set(exits))
            need(not missing, f"exits not led anywhere: {', '.join(missing)}", included_at, "add them")
            unknown = sorted(set(exits) - set(file.exits))
            need(not unknown, f"{path.name} has no exit {', '.join(unknown)}", included_at, "remove it")
        gates = [
            *(answered(gate, self.catalogue) for gate in file.gates),
            *(own_end(file, self.catalogue) if exits is None else ()),
        ]
        ends = (
            dict.fromkeys(file.exits, gates[len(file.gates)].id if file.exits else "") if exits is None else exits
        )
        ids = [gate.id for gate in gates]
        for number, gate in enumerate(gates):
            place = document.place(("gates", number)) if number < len(file.gates) else Place(document.file, 1, 1)
            named = document.place(("gates", number, "id"))
            need(ids.count(gate.id) == 1, f"the gate id {gate.id!r} stands twice", named, "rename one of them")
            following = ids[number + 1] if number + 1 < len(ids) else None
            target = WrittenTargets(prefix, ids, ends, following, document, number)
            if isinstance(gate, IncludeGate):
                self._include(gate, path, prefix, target, trail)
            else:
                transitions = transitions_of(gate, target)
                self._place(PlacedGate(prefix + gate.id, gate, transitions, place, document, number))
        return file

    def _tables(self, document: Document, content: Any) -> Any:
        """Return the content of a file with the tables that its limits name; each is one document more."""
        of = content.get("trade", DEFAULT_TRADE) if isinstance(content, dict) else DEFAULT_TRADE
        content, tables = with_tables(
            content, document, self.read, lambda: self._trade_named(str(of), document).sheets
        )
        known = {one.file for one in self.documents}
        self.documents += [one for one in tables.values() if one.file not in known]
        return content

    def _place(self, placed: PlacedGate) -> None:
        """Add a gate; parts that keep their ids may each write the same stop."""
        known = self.gates.setdefault(placed.id, placed)
        alike = known is placed or (known.gate == placed.gate and placed.gate.effects.end == "stop")
        what = f"the gate id {placed.id!r} stands in {known.place.file} too"
        need(
            alike, what, placed.place, "rename one of them; only a stop may stand in several parts, written alike"
        )

    def _include(
        self, gate: IncludeGate, path: Path, prefix: str, target: WrittenTargets, trail: tuple[Path, ...]
    ) -> None:
        """Put the file in once, or once for each item, each leading to the next."""
        before, place = len(self.gates), target.place
        at: KeyPath = ("gates", target.number)
        full_id = prefix + gate.id
        if gate.when:  # it stands before the part, and where it leads is known once the part is put in
            entry = PlacedGate(full_id, entry_of(gate, firing=False), {}, place(), target.document, target.number)
            self._place(entry)
        shared = given_in(gate.parameters, target.document, at)
        items = list(gate.each) or [""]
        after = [f"{prefix}{gate.id}/{item}" for item in items[1:]]
        for item, following in zip(items, [*after, target.then(gate) if gate.each else ""], strict=True):
            exits = {
                name: following if to == NEXT_ITEM else target.full(to, ("exits", name))
                for name, to in gate.exits.items()
            }
            own = given_in(gate.each[item], target.document, (*at, "each", item), inside=()) if item else {}
            first = len(self.gates)
            try:
                self.add(
                    path.parent / gate.file,
                    prefix=f"{prefix}{gate.id}/{item}/"
                    if item
                    else prefix
                    if gate.own_ids
                    else f"{prefix}{gate.id}/",
                    parameters={**shared, **own},
                    optional=of_item(item, target.document.place((*at, "each"))),
                    exits=exits,
                    trail=(*trail, path.resolve()),
                    included_at=place(),
                )
            except NoSuchFile as error:
                if error.where != str(path.parent / gate.file):
                    raise
                raise Problem(
                    f"there is no {gate.file} here", where=str(place("file")), remedy="correct the name"
                ) from error
            taken = full_id in self.entries
            need(not taken, f"the id {gate.id!r} stands in an included part too", place(), "rename one of them")
            if item:
                self.entries[f"{prefix}{gate.id}/{item}"] = list(self.gates)[first]
        if not gate.when:
            self.entries[full_id] = list(self.gates)[before]
            return
        into = list(self.gates)[before + 1]
        self.gates[full_id] = replace(
            entry,
            gate=entry_of(gate, firing=self.gates[into].gate.firing),
            transitions={DONE: into, NOT_ASKED: target.not_asked(gate)},
        )

    def _trade_named(self, name: str, document: Document) -> TradeData:
        """Return the trade that a document names: an author's own lies near the file that is run."""
        if name not in self.trades:
            near = Path((self.documents or [document])[0].file).parent
            self.trades[name] = trade_data_asked(name, document.place(("trade",)), near, self.read)
        return self.trades[name]

    def _trade(
        self, file: ProcedureFile, document: Document, path: Path, included_at: Place | None, content: Any
    ) -> None:
        """Take the trade of the file that is run; what it includes must be of the same."""
        if included_at is None:
            self.trade = self._trade_named(file.trade, document)
        need(
            file.trade == self.trade.name,
            f"{path.name} is of the trade {file.trade}, and what includes it of {self.trade.name}",
            included_at or document.place(("trade",)),
            "include files of one trade",
        )
        for at, quantity in quantities_named(content):
            refuse_unknown(quantity, self.trade.quantities, document.place(at))
        for number, gate in enumerate(file.gates):
            need(
                self.trade.file.fires or not getattr(gate, "firing", False),
                f"nothing fires in {self.trade.name}",
                document.place(("gates", number, "firing")),
                "remove `firing`",
            )
            hazard = getattr(gate, "hazard", None)
            need(
                hazard is None or hazard in self.trade.stops.stops,
                f"{self.trade.name} has no stop {hazard!r}",
                document.place(("gates", number, "hazard")),
                f"write one of: {', '.join(self.trade.stops.stops)}",
            )

    def _language(self, file: ProcedureFile, document: Document, path: Path, included_at: Place | None) -> None:
        """Load every language of the file that is run; what it includes must be written in the same."""
        led = self.language
        at = document.place(("language",)) if included_at is None else included_at
        for name in led.languages if included_at is None else ():
            named = document.place(("translations", name)) if name != file.language else at
            words, beside = load_language(name, self.trade, path.parent, named, self.read)
            self.documents += beside
            if name == led.led:
                self.catalogue = words
        own, remedy = led.languages[0], "include files of one language"
        what = f"{path.name} is written in {file.language}, and what includes it in {own}"
        need(file.language == own, what, at, remedy)
        lacking = [name for name in led.languages if name not in languages_of(document)]
        what = f"{path.name} is not translated into {', '.join(lacking)}, and what includes it is"
        need(not lacking, what, at, f"translate it, and write `translations: [{', '.join(lacking)}]` into it")

    def _names(self, file: ProcedureFile, document: Document, path: Path) -> None:
        need(
            file.procedure == path.stem,
            f"the procedure is called {file.procedure!r} but the file {path.name!r}",
            document.place(("procedure",)),
            "give both the same name",
        )

    def _merge(self, file: ProcedureFile, document: Document) -> None:
        for name, thing in file.things.items():
            known = self.things.setdefault(name, thing)
            need(known == thing, f"{name!r} means another thing", document.place(("things", name)), "rename it")
        self.words.update(file.words)

    def resolve(self) -> Moves:
        """Let transitions into an include lead to its first gate, and check what the gates refer to."""
        for gate_id, placed in self.gates.items():
            clash = f"the id {gate_id!r} is that of an include too"
            need(gate_id not in self.entries, clash, placed.at("id"), "rename the include")
        moves = Moves(
            {
                gate_id: {outcome: self._entry(to) for outcome, to in placed.transitions.items()}
                for gate_id, placed in self.gates.items()
            }
        )
        for gate_id, placed in self.gates.items():
            gate = self.language.needing(placed.gate)
            self.gates[gate_id] = replace(placed, gate=gate, transitions=moves.transitions(gate_id))
            self._check_things(self.gates[gate_id])
        beside = Beside.of(self.gates.values(), self.trade.sheets)
        for placed in self.gates.values():
            check_deciders(placed, beside)
            refuse_wrong_reading(placed)
        refuse_too_many(self.gates.values(), beside)
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
        calculations = self.trade.functions.calculations
        left = {name for name, one in calculations.items() if one.may_be_left}
        for number, name in enumerate(effects.leaves):
            what, where = f"no verdict of {name!r} may be left", placed.at("leaves", number)
            need(name in left, what, where, f"these may: {', '.join(sorted(left)) or 'none'}")
        for name in named:
            known = ", ".join(self.things) or "none"
            what, remedy = f"there is no thing {name!r}", f"add it under things; it has: {known}"
            need(name in self.things, what, placed.named(name), remedy)
        for name, state in gate.needs.items():
            thing = self.things[name]
            need(
                state in {thing.altered, thing.restored},
                f"{name} can be {thing.altered!r} or {thing.restored!r}, not {state!r}",
                placed.at("needs", name),
                "use one of them",
            )
