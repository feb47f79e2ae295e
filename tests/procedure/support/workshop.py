"""A small whole procedure that is proven, for tests to damage, and random ones to search."""

from __future__ import annotations

import random
from pathlib import Path

from handsfree.documents import Document, parse_document
from handsfree.procedure.procedure import Procedure, load_procedure

PROVEN = """\
handsfree: 2
procedure: sample
title: Sample
purpose: Nothing but a test.
cautions:
  - Hot surfaces.
jobsheet: [serial]
things:
  cover: {said: Cover, altered: removed, restored: fitted}
  set-point: {said: Set point, altered: raised, restored: restored, value: set_point}
  rate-hold: {said: Rate hold, altered: held, restored: ended}
gates:
  - id: standing-pressure
    kind: readings
    title: Standing pressure
    source: common practice, no source
    prompt: "Standing pressure?"
    ask: [{quantity: standing_pressure, low: 0.1, high: 75}]
    point: standing
  - id: set-point-found
    kind: readings
    title: Set point as found
    source: common practice, no source
    needs: {set-point: restored}
    prompt: "Set point, as found?"
    ask: [{quantity: set_point}]
    point: set-point-found
    captures: set-point
    not_done: stop-fault
  - id: set-point-raised
    kind: confirm
    title: Set point raised
    source: common practice, no source
    prompt: Raise the set point.
    done: [raised]
    alters: [set-point]
    not_done: false
  - id: hold
    kind: confirm
    title: Maximum held
    source: common practice, no source
    firing: true
    prompt: Hold maximum.
    done: [maximum held]
    alters: [rate-hold]
    not_done: false
    at_most: 4
    exhausted: stop-fault
  - id: working-pressure
    kind: readings
    title: Working pressure
    source: common practice, no source
    firing: true
    needs: {rate-hold: held}
    prompt: "Working pressure?"
    ask: [{quantity: working_pressure}]
    point: working
    rate: maximum
    dropped_back: hold
  - id: supply
    kind: verdict
    title: Supply
    source: the appliance sheet
    firing: true
    calculation: supply-pressure
    using: {standing: standing, working: working}
    branches: {within: flue, outside: stop-fault, no-limit: flue, missing: stop-fault}
  - id: flue
    kind: readings
    title: Flue gas
    source: common practice, no source
    firing: true
    needs: {cover: fitted, rate-hold: held}
    prompt: "CO2, O2, CO?"
    ask: [{quantity: co2}, {quantity: o2}, {quantity: co}]
    point: flue
    rate: maximum
    settle: {wait_seconds: 180, source: makers ask three to five minutes}
    unsettled: hold
    dropped_back: hold
    not_done: stop-fault
  - id: flue-verdict
    kind: verdict
    title: Flue gas judged
    source: the appliance sheet
    firing: true
    calculation: combustion-at-rate
    rate: maximum
    using: {readings: flue}
    branches:
      within: put-back
      too-close: cover-off
      outside: cover-off
      carbon-monoxide-high: cover-off
      no-limit: by-the-manual
      missing: stop-fault
  - id: by-the-manual
    kind: choice
    title: By the manual
    source: the maker's manual
    firing: true
    prompt: "No limit loaded. By the manual?"
    answers:
      acceptable: {heard: [acceptable], then: put-back}
      wrong: {heard: [not acceptable], then: stop-fault}
    not_done: stop-fault
  - id: cover-off
    kind: confirm
    title: Cover off
    source: common practice, no source
    firing: true
    prompt: Cover off.
    done: [removed]
    alters: [cover]
    not_done: stop-fault
    at_most: 3
    exhausted: stop-fault
  - id: turn
    kind: adjust
    title: Turn
    source: the appliance sheet
    firing: true
    needs: {rate-hold: held}
    rate: maximum
    using: flue
    voids: [flue]
    no_advice: stop-fault
    not_done: stop-fault
  - id: cover-on
    kind: restore
    title: Cover on
    source: common practice, no source
    firing: true
    things: [cover]
    then: flue
  - id: put-back
    kind: restore
    title: Put back
    source: common practice, no source
    firing: true
    things: [rate-hold, set-point]
  - id: finish
    kind: finish
    title: Finish
    source: common practice, no source
  - id: stop-fault
    kind: stop
    title: Fault
    source: common practice, no source
    script: Boiler off. Put the fault right.
"""


def procedure_of(text: str, name: str = "sample") -> Procedure:
    """Return the procedure that the text is."""

    def read(path: Path) -> Document:
        return parse_document(text, str(path))

    return load_procedure(Path(f"{name}.yaml"), read)


def damaged(*replacements: tuple[str, str]) -> Procedure:
    """Return the proven procedure with texts replaced, each of which must be there."""
    text = PROVEN
    for old, new in replacements:
        assert old in text, old
        text = text.replace(old, new, 1)
    return procedure_of(text)


def block(gate_id: str) -> str:
    """Return the text of a gate of the proven procedure."""
    begins = PROVEN.index(f"  - id: {gate_id}\n")
    ends = PROVEN.find("  - id: ", begins + 1)
    return PROVEN[begins : ends if ends > 0 else len(PROVEN)]


def random_text(seed: int, gates: int, things: int) -> str:
    """Return a procedure of confirmations, choices and restores with random ways, needs and bounds."""
    dice = random.Random(seed)
    names = [f"t{i}" for i in range(things)]
    ids = [f"g{i}" for i in range(gates)]
    lines = ["handsfree: 2", "procedure: sample", "title: Random", "purpose: Test.", "things:"]
    lines += [f"  {name}: {{said: Thing, altered: open, restored: closed}}" for name in names]
    lines.append("gates:")
    for number, gate_id in enumerate(ids):
        anywhere = [*ids, "finish", "stop"]
        lines += [f"  - id: {gate_id}", "    title: Gate"]
        if dice.random() < 0.4:
            lines.append(f"    needs: {{{dice.choice(names)}: {dice.choice(['open', 'closed'])}}}")
        if dice.random() < 0.4:
            lines += [f"    at_most: {dice.randint(1, 3)}", f"    exhausted: {dice.choice(anywhere)}"]
        kind = dice.choice(["confirm", "confirm", "confirm", "choice", "restore"])
        lines.append(f"    kind: {kind}")
        if kind == "confirm":
            lines += ["    prompt: Do it.", f"    {dice.choice(['alters', 'restores'])}: [{dice.choice(names)}]"]
            lines.append(f"    not_done: {dice.choice(['false', 'true', dice.choice(anywhere)])}")
        elif kind == "choice":
            lines += ["    prompt: Which?", "    not_done: false", "    answers:"]
            lines += [f"      {w}: {{heard: [{w}], then: {dice.choice(anywhere)}}}" for w in ("left", "right")]
        else:
            lines.append(f"    things: [{', '.join(dice.sample(names, dice.randint(1, things)))}]")
        if kind != "choice" and (dice.random() < 0.3 or number == gates - 1):
            lines.append(f"    then: {dice.choice(anywhere)}")
    lines += [
        "  - {id: finish, kind: finish, title: Finish}",
        "  - {id: stop, kind: stop, title: Stop, script: Off.}",
    ]
    return "\n".join(lines) + "\n"
