"""Procedure files with random damage: lines dropped, moved, cut and repeated, words and values exchanged."""

from __future__ import annotations

import random
import re
from collections.abc import Mapping
from pathlib import Path

from workshop import PROVEN

from handsfree.documents import Document, NoSuchFile, parse_document
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.trades import trade_data, trades_in_order

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
    *("readings", "superheat", "99999999999999999999", "'{job.x}'", "'{'", '"%s"', "ok"),
)

JARGON = re.compile(
    r"Traceback|pydantic|instance of|Extra inputs|Input should|valid (string|integer|tuple)|Decimal\(|function-|"
    r"Answer\(|Command\(|HazardSaid|KeyError|\bNone(Type)?\b|\bdict\b|\btuple\b|\^\[|\[a-z|\\d|<class|object at"
)
"""What no author should ever read: a library's words, a pattern, a name of Python."""


def sources() -> list[dict[str, str]]:
    """Return whole procedures by file name, the first of each being the one that is run."""
    of_trades = [{"sample.yaml": trade_data(one).template.replace("NAME", "sample")} for one in trades_in_order()]
    return [{"sample.yaml": PROVEN}, {"host.yaml": HOST, "guest.yaml": GUEST}, *of_trades]


def damaged_lines(text: str, dice: random.Random) -> str:
    """Return the text with one to four damages."""
    lines = text.splitlines()
    for _ in range(dice.choice((1, 1, 1, 2, 3, 4))):
        if not lines:
            break
        at, other = dice.randrange(len(lines)), dice.randrange(len(lines))
        kind = dice.randrange(8)
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == 2:
            lines.insert(other, lines[at])
        elif kind == 3:
            lines[at] = lines[at][: dice.randrange(len(lines[at]) + 1)]
        elif kind in {4, 5} and ":" in lines[at]:
            lines[at] = f"{lines[at].split(':')[0]}: {dice.choice(VALUES)}"
        else:
            word = dice.choice(re.findall(r"[\w-]+", lines[other]) or ["x"])
            mine = re.findall(r"[\w-]+", lines[at]) or ["x"]
            lines[at] = re.sub(rf"\b{re.escape(dice.choice(mine))}\b", word, lines[at], count=1)
    return "\n".join(lines) + "\n"


def told_of(files: Mapping[str, str]) -> str:
    """Return all that an author is told of a procedure, the first file being the one that is run."""

    def read(path: Path) -> Document:
        if path.name not in files:
            raise NoSuchFile("cannot read this file", where=str(path))
        return parse_document(files[path.name], str(path))

    try:
        report = check(load_procedure(Path(next(iter(files))), read))
    except Problem as problem:
        return problem.sentence() if ".yaml" in problem.sentence() else f"no file is named: KeyError {problem}"
    told = [f"{one.place}: {one.what}; {one.remedy}" for one in report.findings]
    return "\n".join((*told, *report.remarks))


def fuzzed(seed: int, whole: list[dict[str, str]]) -> tuple[dict[str, str], str]:
    """Return damaged files and what an author is told of them; any error but a Problem passes on."""
    dice = random.Random(seed)
    files = dict(dice.choice(whole))
    name = dice.choice(list(files))
    files[name] = damaged_lines(files[name], dice)
    return files, told_of(files)
