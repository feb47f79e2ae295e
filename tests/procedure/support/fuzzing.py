"""Files with random damage: lines dropped, moved, cut, repeated, indented; words, keys, values, letters exchanged.

Procedures are read and proven with what they include, stories and both sheets are read.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Mapping
from pathlib import Path

from workshop import PROVEN

from handsfree.documents import Document, NoSuchFile, parse_document, validate
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.drawing import svg
from handsfree.procedure.mermaid import mermaid
from handsfree.procedure.pages import pages
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.sheets import read_appliance_sheet, read_job_sheet
from handsfree.procedure.trades import trade_data, trades_in_order
from handsfree.stories.file import StoriesFile

PROCEDURES = Path(__file__).parents[3] / "procedures"
SHIPPED = ("extract-terminal", "outlet-temperature", "gas-rate-check", "room-on-entry")
WITH_PARTS = (
    ("hot-water-profile.yaml", "outlet-temperature.yaml"),
    ("extract-ventilation.yaml", "extract-terminal.yaml", "extract-rates.table.yaml"),
)
"""Items, conditions, branches, a table and two languages: each file is damaged in its turn."""
STORIES = PROCEDURES / "tests" / "extract-terminal.tests.yaml"
DEMO, APPLIANCE = PROCEDURES.parent / "handsfree" / "demo", "appliance-24.yaml"

HOST = """\
handsfree: 2
procedure: host
title: Host
purpose: Includes one file twice.
proves: [{says: the pressure, by: [first/judged, second/judged]}]
gates:
  - id: first
    kind: include
    file: guest.yaml
    parameters: {what: standing, least: 18}
    exits: {well: second, ill: stop}
  - id: second
    kind: include
    file: guest.yaml
    parameters: {what: working, least: 17.5}
    exits: {well: finish, ill: stop}
  - {id: finish, kind: finish, title: Finish, source: a test}
  - {id: stop, kind: stop, title: Stop, source: a test, script: Boiler off.}
"""

GUEST = """\
handsfree: 2
procedure: guest
title: Guest
purpose: One reading, judged.
parameters:
  what: standing
  least: 18
exits: [well, ill]
gates:
  - id: read
    kind: readings
    title: The $what pressure
    source: a test
    prompt: "Pressure, $what?"
    ask: [{quantity: standing_pressure, low: 1, high: 60}]
    point: $what
    not_done: exit ill
  - id: judged
    kind: verdict
    title: Judged at $least mbar
    source: a test
    calculation: reading-in-limits
    using: {readings: $what}
    limits: {quantity: standing_pressure, low: $least, source: a test}
    branches: {within: exit well, too-close: exit well, outside: exit ill, missing: exit ill}
"""

VALUES = (
    *("-1", "[]", "{}", "null", "'é'", "1e999", "!!python/object:x", "&a", "*a", "{a: {b: c}}", "$x", "$least"),
    *("${what}", "9.30", "-3", "true", "exit stop", "nonesuch", "co2", "air_flow", "flow_temperature", "boiler"),
    *("readings", "superheat", "99999999999999999999", "'{job.x}'", "'{'", '"%s"', "ok", "", "yes", "0", "1.5.2"),
    *(
        ".inf",
        ".nan",
        '"',
        "[[]]",
        "- x",
        "<<: {}",
        "$",
        "${",
        "$$",
        "ä" * 130,
        "🔧",
        "\u202e",
        "a" * 300,
        "exit ",
    ),
    *(
        "next item",
        "..",
        "../x.yaml",
        "a.yaml",
        "2026-02-30",
        "0x1f",
        "1_000",
        "010",
        "@",
        "`",
        "|",
        ">",
        "?",
        "gate/*",
    ),
)

LETTERS = "{}[]:,#&*!|>'\"%@`-?$\t\\\x00\x07\u2028äß🔧 0a"

JARGON = re.compile(
    r"Traceback|pydantic|instance of|Extra inputs|Input should|valid (string|integer|tuple)|Decimal\(|function-|"
    r"ruamel|Error\b|validat|MappingNode|isoformat|__\w+__|frozenset|discriminator|"
    r"<block|<stream|<scalar|\btoken\b|node content|mapping values|sequence entries|simple key|"
    r"Answer\(|Command\(|HazardSaid|KeyError|\bNone(Type)?\b|\bdict\b|\btuple\b|\^\[|\[a-z|\\d|<class|object at"
)
"""What no author should ever read: a library's words, a pattern, a name of Python."""


def sources() -> list[dict[str, str]]:
    """Return whole files by name, the first of each being the one that is run or read."""
    of_trades = [{"sample.yaml": trade_data(one).template.replace("NAME", "sample")} for one in trades_in_order()]
    shipped = [{path.name: path.read_text("utf-8")} for name in SHIPPED for path in (PROCEDURES / f"{name}.yaml",)]
    parts = [{name: (PROCEDURES / name).read_text("utf-8") for name in names} for names in WITH_PARTS]
    read_only = [
        {path.name: path.read_text("utf-8")} for path in (STORIES, DEMO / "jobsheet.yaml", DEMO / APPLIANCE)
    ]
    return [
        {"sample.yaml": PROVEN},
        {"host.yaml": HOST, "guest.yaml": GUEST},
        *of_trades,
        *shipped,
        *read_only,
        *parts,
    ]


def damaged(text: str, dice: random.Random) -> str:
    """Return the text with one to four damages."""
    for _ in range(dice.choice((1, 1, 1, 2, 3, 4))):
        kind = dice.randrange(12)
        if kind == 0:
            at = dice.randrange(len(text) + 1)
            text = text[:at] + dice.choice(LETTERS) + text[at + dice.randrange(2) :]
        elif kind == 1 and dice.randrange(3) == 0:
            text = text[: dice.randrange(len(text) + 1)]
        elif lines := text.splitlines():
            _damage(lines, kind, dice)
            text = "\n".join(lines) + "\n"
    return text


def _damage(lines: list[str], kind: int, dice: random.Random) -> None:
    at, other = dice.randrange(len(lines)), dice.randrange(len(lines))
    if kind == 2:
        del lines[at]
    elif kind == 3:
        lines[at], lines[other] = lines[other], lines[at]
    elif kind == 4:
        lines.insert(other, lines[at])
    elif kind == 5:
        lines[at] = lines[at][: dice.randrange(len(lines[at]) + 1)]
    elif kind == 6:
        lines[at] = " " * dice.randrange(9) + lines[at].lstrip()
    elif kind == 7:
        _exchange(
            lines, at, r"\b\d+(\.\d+)?\b", dice.choice(("0", "-1", "1", "1.0", "99", "10000000", "0.00001")), dice
        )
    elif kind == 8:
        _exchange(
            lines, at, r"[a-z_]+(?=:)", dice.choice(("kind", "id", "then", "limits", "ask", "at_mots", "1")), dice
        )
    elif kind in {9, 10}:
        _exchange(lines, at, r"(?<=: )[^,{}\[\]]+|(?<=\[)[^,\[\]]+", dice.choice(VALUES), dice)
    else:
        _exchange(lines, at, r"[\w-]+", dice.choice(re.findall(r"[\w-]+", lines[other]) or ["x"]), dice)


def _exchange(lines: list[str], at: int, what: str, by: str, dice: random.Random) -> None:
    spots = list(re.finditer(what, lines[at]))
    if spots:
        spot = dice.choice(spots)
        lines[at] = lines[at][: spot.start()] + by + lines[at][spot.end() :]


READERS: Mapping[str, Callable[[Document], object]] = {
    STORIES.name: lambda document: validate(StoriesFile, document),
    "jobsheet.yaml": read_job_sheet,
    APPLIANCE: read_appliance_sheet,
}
"""What is read and not proven."""


def _reader(files: Mapping[str, str]) -> Callable[[Path], Document]:
    def read(path: Path) -> Document:
        if path.name not in files:
            raise NoSuchFile("there is no such file", where=str(path))
        return parse_document(files[path.name], str(path))

    return read


def told_of(files: Mapping[str, str]) -> str:
    """Return all that an author is told of a procedure, the first file being the one that is run."""
    first, read = Path(next(iter(files))), _reader(files)
    try:
        if first.name in READERS:
            READERS[first.name](read(first))
            return ""
        report = check(load_procedure(first, read))
    except Problem as problem:
        return problem.sentence() if ".yaml" in problem.sentence() else f"no file is named: KeyError {problem}"
    told = [f"{one.place}: {one.what}; {one.remedy}" for one in report.findings]
    return "\n".join((*told, *report.remarks))


def shown_of(whole: list[dict[str, str]], files: dict[str, str]) -> str:
    """Return what comparing with the whole files and drawing tell of a damaged procedure; nothing if refused."""
    first = Path(next(iter(files)))
    if first.name in READERS:
        return ""
    before = next(one for one in whole if one.keys() == files.keys())
    try:
        made = load_procedure(first, _reader(files))
        found = changes(load_procedure(first, _reader(before)), made)
    except Problem:  # in another language of the file, too: `told_of` has told it
        return ""
    return "\n".join((*(one.sentence() for one in found), svg(made), mermaid(made), pages(made)))


def jargon(told: str, files: Mapping[str, str]) -> str:
    """Return where no author's word is told, with what stands around it; nothing where each is of the files."""
    for found in JARGON.finditer(told):
        if not any(found.group() in text for text in files.values()):
            return told[max(0, found.start() - 100) : found.end() + 100]
    return ""


def fuzzed(seed: int, whole: list[dict[str, str]]) -> tuple[dict[str, str], str]:
    """Return damaged files and what an author is told of them; any error but a Problem passes on."""
    dice = random.Random(seed)
    files = dict(dice.choice(whole))
    name = dice.choice(list(files))
    files[name] = damaged(files[name], dice)
    return files, told_of(files)
