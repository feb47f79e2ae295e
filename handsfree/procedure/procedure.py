"""A procedure as it is run: included files flattened, every transition between gates spelled out."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial
from pathlib import Path

from handsfree.documents import Document, read_document
from handsfree.gates.asking import scope_of
from handsfree.lexicon.catalogue import Catalogue
from handsfree.problem import Problem
from handsfree.procedure.claims import claims, refuse_unknown_orders
from handsfree.procedure.file import ProcedureFile
from handsfree.procedure.flattening import Flattening
from handsfree.procedure.moves import Moves
from handsfree.procedure.placed import PlacedGate
from handsfree.procedure.trades import TradeData
from handsfree.procedure.translation import Untranslated
from handsfree.questions.ask import Thing
from handsfree.questions.kind import Scope


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
    claims_at: tuple[int, ...]
    """Under which number of `proves` each claim is written: one may stand for many items."""
    untranslated: tuple[Untranslated, ...]
    """The texts that the language asked for lacks, and that stand in the file's own."""
    in_language: Callable[[str], Procedure] = field(repr=False, compare=False)
    """The same procedure in another of its languages; Problem when it has no such one, or lacks the words."""

    @property
    def name(self) -> str:
        """The procedure's name."""
        return self.file.procedure

    @property
    def first(self) -> str:
        """The id of the gate where a visit begins."""
        return next(iter(self.gates))

    @cached_property
    def tables(self) -> Mapping[str, Document]:
        """The documents of the tables that verdicts read, by the names of the tables."""
        contents = ((one.content, one) for one in self.documents)
        return {str(held["table"]): one for held, one in contents if isinstance(held, dict) and "table" in held}

    @cached_property
    def adjusts(self) -> bool:
        """Whether it ever turns an adjuster."""
        return any(placed.gate.effects.turns for placed in self.gates.values())

    @property
    def sources(self) -> tuple[tuple[str, Document], ...]:
        """Every file that it is made of, with the name that it is kept under: an author's trade comes last."""
        trade = self.trade
        lies = trade.folder.path if trade.own and not trade.folder.prefix else None
        named = ((one, Path(one.file).parent == lies) for one in (*self.documents, *trade.documents))
        return tuple(
            (trade.folder.kept_as(one) if of_trade else Path(one.file).name, one) for one, of_trade in named
        )

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
        gate, of = self.gate(gate_id).gate, self.trade.functions
        return scope_of(gate, self.things, words, of, adjusts=self.adjusts)

    def version(self) -> str:
        """Return the SHA-256 over all files in the order they were read: the version of the procedure as run."""
        digest = hashlib.sha256()
        for _, document in self.sources:
            digest.update(hashlib.sha256(document.text.encode()).digest())
        return digest.hexdigest()


def load_procedure(
    path: Path, read: Callable[[Path], Document] = read_document, language: str | None = None
) -> Procedure:
    """Read a procedure file and all it includes; raise Problem at the first fault, with its line.

    `read` gives the document of a path: the authors' tools give documents that stand in no file. `language` is one
    of the procedure's, its own when left out.
    """
    flat = Flattening(read, language)
    file = flat.add(path, prefix="", parameters={}, exits=None, trail=())
    moves = flat.resolve()
    effects = {gate_id: placed.gate.effects for gate_id, placed in flat.gates.items()}
    proves = list(claims(file, effects, flat.documents[0]))
    file = file.model_copy(update={"proves": tuple(claim for _, claim in proves)})
    at = tuple(number for number, _ in proves)
    refuse_unknown_orders(file, effects, flat.documents[0])
    documents = tuple(flat.documents)
    return Procedure(
        file,
        flat.gates,
        flat.things,
        documents,
        flat.words,
        flat.catalogue,
        flat.trade,
        moves,
        at,
        tuple(flat.language.untranslated),
        partial(load_procedure, path, read),
    )


__all__ = ["PlacedGate", "Procedure", "load_procedure"]
