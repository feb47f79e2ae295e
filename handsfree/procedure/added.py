"""What the language adds itself: the word for "done", an end and an entry for a part, an item's name."""

from __future__ import annotations

from handsfree.documents import Place
from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.entry import EntryGate
from handsfree.gates.finish import FinishGate
from handsfree.gates.restore import RestoreGate
from handsfree.lexicon.catalogue import Catalogue
from handsfree.procedure.file import AnyGate, IncludeGate, ProcedureFile
from handsfree.procedure.parameters import Parameter

ENTRY_SOURCE = "the sheets and the earlier answers that it names"


def of_item(item: str, place: Place) -> dict[str, Parameter]:
    """Return what a file may ask of the item that it is gone through for: its name, and how it is spoken."""
    if not item:
        return {}
    return {"item": Parameter(item.replace("-", " "), place), "item-id": Parameter(item, place)}


def answered(gate: AnyGate, catalogue: Catalogue) -> AnyGate:
    """Return a confirmation without words of its own with the language's word for "done"."""
    if isinstance(gate, ConfirmGate) and not gate.done:
        return gate.model_copy(update={"done": catalogue.answers["done"]})
    return gate


def own_end(file: ProcedureFile, catalogue: Catalogue) -> list[RestoreGate | FinishGate]:
    """Return the gates a file with exits ends with when it is run by itself."""
    if not file.exits:
        return []
    finish = FinishGate(kind="finish", id="finish", title=catalogue.sayings["finish-title"])
    if not file.things:
        return [finish]
    things = tuple(file.things)
    title = catalogue.sayings["put-back-title"]
    return [RestoreGate(kind="restore", id="put-back", title=title, things=things), finish]


def entry_of(part: IncludeGate, *, firing: bool) -> EntryGate:
    """Return the entry of a part that has conditions; it counts as firing where the part's first gate does."""
    return EntryGate(
        kind="entry", id=part.id, title=str(part.title), source=ENTRY_SOURCE, when=part.when, firing=firing
    )
