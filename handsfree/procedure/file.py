"""One file of a procedure: what it is for, the facts it needs, and its gates in order.

Every class here and in `handsfree/gates` that is a block is documentation too: authors see its docstring and
those of its fields in their editor. Unknown keys are errors.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from handsfree.blocks import Block, Name, Names, Phrase, Target, Texts, as_tuple
from handsfree.bundles.version import PATTERN as VERSION
from handsfree.gates import WrittenGate
from handsfree.gates.when import When
from handsfree.questions.ask import Thing
from handsfree.trades import DEFAULT_TRADE

LANGUAGE_VERSION = 2

GatePath = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*([-/][a-z0-9]+|/\*)*$", max_length=120)]
"""The full id of a gate, with the prefixes of the includes that it stands in; `*` is every item of an `each`."""

NEXT_ITEM = "next item"

ItemTarget = Annotated[str, Field(pattern=r"^(next item|(exit )?[a-z][a-z0-9]*(-[a-z0-9]+)*)$", max_length=80)]
"""Where an exit leads: a gate of this file, `exit NAME`, or with `each`, `next item` (after the last, `then`)."""

Parameters = dict[Name, str | int | bool | Decimal]


def _items(value: Any) -> Any:
    """Read a list of items as items without parameters of their own."""
    if not isinstance(value, list):
        return value
    twice = {str(item) for item in value if value.count(item) > 1}
    if twice:
        raise ValueError(f"an item stands twice: {', '.join(sorted(twice))}")
    return {str(item): {} for item in value}


def _complete(value: Any) -> Any:
    """Read a list of languages as languages that lack nothing."""
    return dict.fromkeys(map(str, value), "complete") if isinstance(value, list) else value


class IncludeGate(Block):
    """Another procedure's gates, put in here under this id as prefix; with `each`, once for every item."""

    kind: Literal["include"]
    id: Name
    """The prefix of its gates; unique in the file."""
    file: str = Field(pattern=r"^[a-z0-9-]+\.yaml$")
    """A file beside this one."""
    parameters: Parameters = Field(default_factory=dict)
    """Values for the included file's parameters, which stand there as `$name`."""
    each: Annotated[
        dict[Name, Parameters],
        BeforeValidator(_items, json_schema_input_type=dict[Name, Parameters] | list[Name]),
        Field(max_length=32),
    ] = Field(default_factory=dict)
    """The items that the gates are gone through for, one after the other: a list of names, or names with values.

    An item's gates are called `ID/ITEM/gate`. The item's name is given to the file's parameters `item`, as text,
    and `item-id`, where it declares them: `kitchen-tap` is "kitchen tap" in a prompt.
    """
    own_ids: bool = False
    """Its gates keep their own ids, without this id as prefix: for a part that a procedure includes once.

    A stop that several such parts write alike is one gate.
    """
    exits: dict[Name, ItemTarget]
    """Where each of its exits leads."""
    then: Target | None = None
    """With `each`: where `next item` leads after the last; the next gate of the file when left out."""
    when: When = Field(default_factory=dict)
    """Facts of the sheets and earlier answers by which the part is gone through at all, as at any gate."""
    otherwise: Target | None = None
    """Where it leads when `when` does not hold; its `then`, or the next gate of the file, when left out."""
    title: str | None = Field(default=None, min_length=3, max_length=60)
    """With `when`: what the part is, in a few words; it stands on the paper when it is not gone through."""

    @model_validator(mode="after")
    def _only_with_each(self) -> IncludeGate:
        goes_on = [name for name, to in self.exits.items() if to == NEXT_ITEM]
        if goes_on and not self.each:
            raise ValueError("`next item` needs `each`")
        if self.then is not None and not goes_on:
            raise ValueError("`then` needs an exit that leads to `next item`")
        if self.each and self.own_ids:
            raise ValueError("with `each` the items' gates cannot keep their ids: remove own_ids")
        if self.each and not goes_on:
            raise ValueError("an exit must lead to `next item`, or only the first item is reached")
        if bool(self.when) != (self.title is not None):
            raise ValueError("`when` and `title` belong together: give both or neither")
        if self.otherwise is not None and not self.when:
            raise ValueError("`otherwise` needs `when`")
        return self


AnyGate = Annotated[WrittenGate | IncludeGate, Field(discriminator="kind")]


class Claim(Block):
    """One thing that a procedure is for, and the gates that show it: a verdict given, or a step done."""

    says: str = Field(min_length=3, max_length=60)
    """What it is, in a few words: spoken and written when a visit ends without it."""
    by: Annotated[tuple[GatePath, ...], BeforeValidator(as_tuple), Field(min_length=1)]
    """Gates of which one must show it, and none that was come to may be left undone: `prefix/gate` in an include.

    With `*` in place of the items of an `each` it is a claim for every item.

    A verdict shows it by any outcome but `missing` and `no-limit`, on whole readings taken since the last turn.
    """


OrderedGates = Annotated[tuple[GatePath, ...], BeforeValidator(as_tuple), Field(min_length=2)]
"""Gates in their order, each by its full id."""


class ProcedureFile(Block):
    """One file: what the procedure is for, the facts it needs, and its gates in order."""

    handsfree: Literal[2]
    """The version of this language."""
    procedure: Name
    """Its name; the file is called the same."""
    version: str | None = Field(default=None, pattern=VERSION)
    """Its version, such as `1.4.0`: a release raises the first number when anything is looser, the second when it
    is tighter, and the last for mere wording. What is never released needs none."""
    language: Name = "english"
    """The language it is written in: one that ships, or one whose file, `NAME.yaml`, stands beside it."""
    translations: Annotated[
        dict[Name, Literal["complete", "partial"]],
        BeforeValidator(_complete, json_schema_input_type=dict[Name, Literal["complete", "partial"]] | list[Name]),
    ] = Field(default_factory=dict)
    """Further languages of its texts: `[german]`, and then `prompt: {english: Close it., german: Zumachen.}`.

    A text that lacks one is a finding; with `{german: partial}` it is told, and said in the file's own language.
    The order of a stop may lack none. `needs` and `begins` name a state in the file's own words. Translated is
    what is said, heard and shown on a visit; papers, the desk and the sentences of a record stay English, with the
    texts of the procedure in the language of the visit.
    """
    trade: Name = DEFAULT_TRADE
    """The trade it belongs to: quantities, hazards, calculations and sheets are the trade's."""
    title: str
    """What it is called on screens, pages and papers."""
    purpose: str
    """What it is for, in a sentence."""
    proves: Annotated[tuple[Claim, ...], BeforeValidator(as_tuple)] = ()
    """What it exists for. A visit that ends without any of it is left incomplete, never finished."""
    cautions: Texts = ()
    """Spoken before the first gate, short."""
    jobsheet: Names = ()
    """Facts of the job sheet it cannot do without."""
    parameters: Parameters = Field(default_factory=dict)
    """Parameters with their defaults; `$name` is replaced, alone or inside a text."""
    in_order: Annotated[tuple[OrderedGates, ...], BeforeValidator(as_tuple)] = ()
    """Groups of gates that must be come to in the order written: bolts crosswise, covers before power."""
    words: dict[Phrase, str] = Field(default_factory=dict)
    """Pronunciations of words the dictionary lacks, in its phones."""
    things: dict[Name, Thing] = Field(default_factory=dict)
    """What its gates alter and put back, each under the name that gates call it by."""
    begins: dict[Name, Phrase] = Field(default_factory=dict)
    """The states in which a part that is included finds its things: `{power: isolated}`.

    Run by itself it asks for them first; its proofs begin there.
    """
    readings: Names = ()
    """Measurement points whose readings a part that is included finds taken: its verdicts may judge them."""
    exits: Names = ()
    """Names of the ways out; run by itself, each exit restores everything and finishes."""
    gates: Annotated[tuple[AnyGate, ...], BeforeValidator(as_tuple), Field(min_length=1)]
    """Its gates, in the order in which they are come to unless one leads elsewhere."""

    @model_validator(mode="after")
    def _finds(self) -> ProcedureFile:
        if (self.begins or self.readings) and not self.exits:
            raise ValueError("`begins` and `readings` are for a part, which has `exits`")
        return self
