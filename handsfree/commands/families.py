"""Which command stands in which module of this folder; a module is imported when one of its commands is used.

So `--version`, `--help` and the short commands do not wait for the libraries of the long ones. The lines here
are the overview that `handsfree --help` prints; a test holds them against what each command says of itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any

import typer
import typer.main
from typer.core import TyperCommand, TyperGroup

FAMILIES: Mapping[str, Mapping[str, str]] = {
    "technician": {
        "demo": (
            "Play a whole visit: a voice in burner noise, the real recogniser and record. Takes about a minute."
        ),
        "visit": (
            "Lead a visit, gate by gate, by voice or keys; the record is on disk before anything is acknowledged."
        ),
        "resume": "Go on with an interrupted visit: burner, rate and everything altered are asked again first.",
        "hear": (
            "Say what is heard in each file: the words, the value, how sure, what a visit does, "
            "what else it may be."
        ),
        "jobsheet": "Make a job sheet by an interview that keeps each answer, or check one and say what it lacks.",
        "appliance": "Make a sheet of maker's data by an interview in a manual's order; check one, or sign it.",
    },
    "phone": {
        "phone": "Tell the certificate that a phone takes in once, so that the page on it is encrypted.",
    },
    "customer_page": {
        "paper": "Write the customer's page of a visit as PDF, and hand it to a phone by a link that works once.",
    },
    "record": {
        "verify": "Check that records are whole, in order and sealed, and name the first entry that is not.",
        "head": "Say the count of entries and the checksum, to be noted by the office.",
        "device-key": "Print this device's public key, to be kept away from it; the key is made on first use.",
        "redact": "Delete the sound of one entry for good; the record still verifies and says who did it.",
        "export": "Copy a record to hand it on.",
    },
    "erasing": {
        "erase": "Erase a person's data from records and all that was made from them; the records still verify.",
    },
    "enrolling": {
        "enrol": "Keep the list of enrolled devices and people: begin, add, revoke, list, export, import, key.",
    },
    "logging_heads": {
        "log": "Keep the log of heads: add visits, check for gaps and forks, show the checkpoint.",
        "prove": "Prove one entry of a logged visit alone, without the others; or check such a proof.",
    },
    "supervising": {
        "desk": "Open the supervisor's pages over a folder of visits.",
        "replay": "Tell a visit again: how it ended, what a supervisor verifies, and who said what.",
        "report": "Write the customer's report of a visit.",
        "receive": "Take visits in: each verified on arrival, none overwritten, those already here recognised.",
        "across": "Ask a question across all visits of a folder; the answer is CSV, or a file of Parquet.",
    },
    "fleet": {
        "fleet": "Work on very many visits: verify, examine, rehear; what was cut off goes on where it was.",
    },
    "hearing_again": {
        "rehear": "Hear the clips of visits again, and tell where the record and its sound disagree.",
    },
    "handing_over": {
        "office": (
            "Take visits in over the network: verified on arrival, receipted, none twice; hand out what waits."
        ),
        "send": "Send closed visits to the office, keep its receipts, and fetch what waits there for this device.",
        "thin": "Delete from this device the sound of visits that the office has receipted; each still verifies.",
        "outbox": "Lay ready what a device fetches when it sends next: put, ask, list.",
    },
    "company": {
        "company": "Serve a company from one machine: init, run.",
    },
    "programs": {
        "api": "Let other programs read: token, revoke, list; tell them: hook, unhook; describe.",
    },
    "authoring": {
        "check": "Prove procedures: fails with the shortest story of each proof that does not hold.",
        "draw": "Draw a procedure: prompts, bands, outcomes on their ways, what is altered as spans.",
        "template": "Write a new procedure to start from, whole and proven; or a sheet, or a trade of your own.",
        "parts": "Write the page that shows which visit uses which part.",
        "language": "Describe the language of procedures, from its model.",
        "layout": "Lay YAML files out alike; comments and values stay.",
        "rewrite": "Give the old keys of procedure files their new names; all else stays as it is.",
    },
    "comparing": {
        "compare": (
            "Say what changed in meaning, how it weighs, which proofs came or went, and what is newly allowed."
        ),
    },
    "editing": {
        "language-server": (
            "Tell an editor what `check` finds, what may stand where, and what it means: on its standard streams."
        ),
    },
    "wording": {
        "words": "Propose how new words are said, and try by several voices whether a visit hears each phrase.",
    },
    "rehearsing": {
        "rehearse": ("Try a procedure at a desk: by script (a false expectation fails), else by what you type."),
    },
    "testing": {
        "test": (
            "Run the stories beside procedures; fails on one that goes otherwise, and where too little is covered."
        ),
    },
    "releasing": {
        "release": (
            "Approve a version of a procedure: proven, tested, raised, and signed as a bundle with all it needs."
        ),
        "take": (
            "Take approved procedures and withdrawals to this device; whatever does not hold changes nothing."
        ),
        "withdraw": "Withdraw versions of a procedure: a signed line that devices take along with the bundles.",
    },
    "arithmetic": {
        "flue": "From any sufficient set of flue readings, tell all the rest.",
        "gasrate": "Gas rate and heat input from timing the meter.",
        "settling": "Say whether readings have settled, where they are heading, and how long that takes.",
    },
    "instruments": {
        "instrument": "Try a mapping: read an instrument's lines by it; tell what is read and what is left out.",
    },
    "sound": {
        "soundcheck": "Measure the noise and your voice, and say what to do about the microphone.",
    },
}
"""Module -> its commands, each with its line in the overview; all in the order of the overview."""


def with_settings(**given: Any) -> typer.Typer:
    """Return a Typer as all of them are: plain text, and faults told by `app.main` alone."""
    return typer.Typer(add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None, **given)


class _Commands(Mapping[str, Any]):
    """All commands by name. Any: typer does not publish the class of a command."""

    def __iter__(self) -> Iterator[str]:
        return (name for family in FAMILIES.values() for name in family)

    def __len__(self) -> int:
        return sum(map(len, FAMILIES.values()))

    def __getitem__(self, name: str) -> Any:
        module = next((module for module, family in FAMILIES.items() if name in family), None)
        if module is None:
            raise KeyError(name)
        family, given = with_settings(), import_module(f"handsfree.commands.{module}").app
        family.registered_commands, family.registered_groups = given.registered_commands, given.registered_groups
        family.callback()(lambda: None)  # or a family of one command would be that command
        return typer.main.get_group(family).commands[name]


class Families(TyperGroup):
    """The command `handsfree`, which imports no command that is not used."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**{**given, "commands": _Commands()})

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002 - the class it overrides wants it
        """Write the overview from the lines above."""
        lines = {name: line for family in FAMILIES.values() for name, line in family.items()}
        room = formatter.width - 6 - max(map(len, lines))
        with formatter.section("Commands"):
            formatter.write_dl(
                [(name, TyperCommand(name, help=line).get_short_help_str(room)) for name, line in lines.items()]
            )
