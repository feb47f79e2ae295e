"""An invented look at mixing valves whose gates and part hang on conditions, its visits and its proofs."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from handsfree.events import decisions as ev
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.sheets import load_sheets
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal

SHEETS = Path(__file__).parents[3] / "handsfree" / "trades" / "plumbing" / "example"
HEAD = """\
handsfree: 2
procedure: valves
trade: plumbing
title: Mixing valves
purpose: Mixing valves are looked at where somebody may be scalded.
proves: [{says: valve, by: [valve]}, {says: told, by: [told]}]
cautions: [Local code and the maker's manual come first.]
things:
  cap: {said: Cap, altered: removed, restored: fitted}
gates:
"""
WRITTEN = (
    HEAD
    + """\
  - id: valve
    kind: choice
    title: Valve
    source: common practice, no source
    when: {job.people_at_risk: "yes"}
    otherwise: store
    prompt: "Valve: still shut, or left open?"
    answers:
      sealed: {heard: [still shut], then: store}
      open: {heard: [left open], then: cap-off}
    then: store
  - {id: cap-off, kind: confirm, title: Cap off, source: own, prompt: Take off the cap., done: [removed],
     alters: [cap], not_done: false}
  - {id: store, kind: confirm, title: Store, source: own, when: {appliance.store: stored},
     prompt: Look at the store., done: [looked]}
  - {id: cap-on, kind: restore, title: Cap on, source: own, when: {valve: [open]}, things: [cap]}
  - {id: told, kind: confirm, title: Told, source: own, prompt: Tell the owner., done: [told]}
  - {id: finish, kind: finish, title: Finish, source: own}
"""
)
PART = """\
handsfree: 2
procedure: part
trade: plumbing
title: A part
purpose: The store is looked at.
cautions: [Hot water.]
exits: [done]
gates:
  - {id: store, kind: confirm, title: Store, source: own, prompt: Look at the store., done: [looked],
     then: exit done}
"""
WITH_PART = (
    HEAD.replace("{says: valve, by: [valve]}", "{says: store, by: [store-part/store]}")
    + """\
  - {id: store-part, kind: include, file: part.yaml, when: {appliance.store: stored}, title: Store looked at,
     exits: {done: told}}
  - {id: told, kind: confirm, title: Told, source: own, prompt: Tell the owner., done: [told]}
  - {id: finish, kind: finish, title: Finish, source: own}
"""
)


def procedure(folder: Path, text: str = WRITTEN) -> Procedure:
    path = folder / "valves.yaml"
    path.write_text(text, encoding="utf-8")
    (folder / "part.yaml").write_text(PART, encoding="utf-8")
    return load_procedure(path)


def plan(folder: Path, at_risk: str, store: str, text: str = WRITTEN) -> Plan:
    heater = (SHEETS / "heater.yaml").read_text("utf-8")
    (folder / "heater.yaml").write_text(heater.replace("store: stored", f"store: {store}"), "utf-8")
    job = (SHEETS / "jobsheet.yaml").read_text("utf-8")
    job = job.replace('people_at_risk: "no"', f'people_at_risk: "{at_risk}"')
    (folder / "jobsheet.yaml").write_text(job, "utf-8")
    return Plan(procedure(folder, text), load_sheets(folder / "jobsheet.yaml")[0]).check()


def visit(plan: Plan, *words: str) -> Rehearsal:
    made = Rehearsal(plan, date(2026, 11, 28))
    for one in words:
        made.until_asking()
        made.say(one)
    made.until_asking()
    return made


def left(visit: Rehearsal) -> dict[str, str]:
    return {one.gate: one.outcome for one in visit.events if isinstance(one, ev.GatePassed)}


def proofs(folder: Path, text: str) -> set[str]:
    return {one.proof for one in check(procedure(folder, text)).findings}
