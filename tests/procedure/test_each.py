"""A file gone through for each of several items: the same gates once for every one, in the order written."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.gates.wait import WaitGate
from handsfree.problem import Problem
from handsfree.procedure.parts_page import EXAMPLE_OF_A_PART, EXAMPLE_OF_INCLUDING_IT
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check

OUTLET = """\
handsfree: 2
procedure: outlet
trade: ventilation
title: One outlet
purpose: One outlet is cleaned.
parameters: {item: outlet, item-id: outlet, seconds: 60}
things:
  grille: {said: Grille, altered: removed, restored: fitted}
exits: [clean, blocked]
gates:
  - id: opened
    kind: confirm
    title: Grille off
    source: common practice, no source
    prompt: Take off the grille of the $item.
    done: [removed]
    alters: [grille]
    not_done: false
  - id: soaked
    kind: wait
    title: Soaked
    source: common practice, no source
    prompt: It soaks.
    seconds: $seconds
  - id: looked
    kind: choice
    title: Duct seen
    source: common practice, no source
    prompt: "Duct: clear, or blocked?"
    answers:
      clear: {heard: [clear duct], then: closed}
      blocked: {heard: [blocked up], then: closed-blocked}
    not_done: closed-blocked
  - id: closed
    kind: restore
    title: Grille on
    source: common practice, no source
    things: [grille]
    then: exit clean
  - id: closed-blocked
    kind: restore
    title: Grille on, blocked
    source: common practice, no source
    things: [grille]
    then: exit blocked
"""
HOUSE = """\
handsfree: 2
procedure: house
trade: ventilation
title: All outlets
purpose: Every outlet is cleaned.
proves:
  - {says: duct seen, by: ["outlets/*/looked"]}
  - {says: all told, by: [told]}
cautions: [Local code and the maker's manual come first.]
gates:
  - id: outlets
    kind: include
    file: outlet.yaml
    each: [kitchen, bath-room, hall]
    exits: {clean: next item, blocked: stop-blocked}
  - id: told
    kind: confirm
    title: Told
    source: common practice, no source
    prompt: Tell the owner.
    done: [told]
  - id: finish
    kind: finish
    title: Finish
    source: common practice, no source
  - id: stop-blocked
    kind: stop
    title: Duct blocked
    source: common practice, no source
    script: Fan off. Stay clear.
"""


def house(folder: Path, text: str = HOUSE, outlet: str = OUTLET) -> Procedure:
    (folder / "outlet.yaml").write_text(outlet, encoding="utf-8")
    path = folder / "house.yaml"
    path.write_text(text, encoding="utf-8")
    return load_procedure(path)


def test_every_item_has_the_gates_of_its_own_and_leads_to_the_next(tmp_path: Path) -> None:
    """The last leads on to the gate after them."""
    found = house(tmp_path)
    ids = list(found.gates)
    assert found.first == ids[0] == "outlets/kitchen/opened"
    assert len([gate for gate in ids if gate.startswith("outlets/")]) == 15
    leads = {item: found.gate(f"outlets/{item}/closed").transitions for item in ("kitchen", "bath-room", "hall")}
    assert [transitions["done"] for transitions in leads.values()] == [
        "outlets/bath-room/opened",
        "outlets/hall/opened",
        "told",
    ]
    stops = {found.gate(f"outlets/{item}/closed-blocked").transitions["done"] for item in leads}
    assert stops == {"stop-blocked"}


def test_the_items_name_is_spoken_where_the_file_asks_for_it(tmp_path: Path) -> None:
    gate = house(tmp_path).gate("outlets/bath-room/opened").gate
    assert gate.prompt == "Take off the grille of the bath room."  # type: ignore[union-attr]


WHOLE = f"""\
handsfree: 2
procedure: whole
title: Radiators bled
purpose: Air is let out of each radiator.
proves: [{{says: radiator looked at, by: ["radiators/*/looked"]}}]
gates:
{EXAMPLE_OF_INCLUDING_IT}
  - {{id: finish, kind: finish, title: Finish, source: a test}}
  - {{id: stop-dry, kind: stop, title: Dry, source: a test, script: Leave it off. Tell the office.}}
"""


def test_the_example_on_the_page_of_the_language_is_proven(tmp_path: Path) -> None:
    (tmp_path / "radiator.yaml").write_text(EXAMPLE_OF_A_PART, encoding="utf-8")
    (tmp_path / "whole.yaml").write_text(WHOLE, encoding="utf-8")
    assert check(load_procedure(tmp_path / "radiator.yaml")).findings == ()
    found = check(load_procedure(tmp_path / "whole.yaml"))
    assert found.findings == ()
    assert "radiators/hall/looked" in found.procedure.gates


def test_what_is_wrong_in_a_part_is_told_once_for_all_its_items(tmp_path: Path) -> None:
    """What a mere yes passes, in one line of a file that three items go through."""
    house(tmp_path, outlet=OUTLET.replace("    done: [removed]\n", "    done: [removed]\n    own_words: false\n"))
    told = CliRunner().invoke(app, ["check", str(tmp_path / "house.yaml")]).output
    assert told.count("outlet.yaml:") == 1
    assert "outlets/kitchen/opened" in told
    assert "(and 2 more from this line)" in told


def test_an_item_may_have_values_of_its_own(tmp_path: Path) -> None:
    """A table: each row an item, its columns the file's parameters; what is shared stands beside."""
    each = "each:\n      kitchen: {seconds: 120}\n      hall: {}\n    parameters: {seconds: 90}"
    found = house(tmp_path, HOUSE.replace("each: [kitchen, bath-room, hall]", each))
    waits = [gate.gate.seconds for gate in found.gates.values() if isinstance(gate.gate, WaitGate)]
    assert waits == [120, 90]


def test_a_claim_with_a_star_is_one_for_every_item(tmp_path: Path) -> None:
    claims = {claim.says: claim.by for claim in house(tmp_path).file.proves}
    assert claims == {
        "duct seen, kitchen": ("outlets/kitchen/looked",),
        "duct seen, bath room": ("outlets/bath-room/looked",),
        "duct seen, hall": ("outlets/hall/looked",),
        "all told": ("told",),
    }


def test_every_proof_holds_over_all_items(tmp_path: Path) -> None:
    assert check(house(tmp_path)).findings == ()


def test_what_one_item_does_not_put_back_is_found(tmp_path: Path) -> None:
    """The proofs walk through every item as through any gates."""
    lost = OUTLET.replace("things: [grille]\n    then: exit clean", "things: []\n    then: exit clean")
    lost = lost.replace(
        "kind: restore\n    title: Grille on\n", "kind: confirm\n    title: Grille on\n    prompt: Grille.\n", 1
    )
    lost = lost.replace("    things: []\n", "", 1)
    failed = check(house(tmp_path, outlet=lost)).failed("restored")
    assert failed
    assert "grille" in str(failed[0]).lower()


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("each: [kitchen, bath-room, hall]", "each: [kitchen, hall, kitchen]", 14, "stands twice: kitchen"),
        ("each: [kitchen, bath-room, hall]\n    ", "", 11, "`next item` needs `each`"),
        ("clean: next item", "clean: told", 11, "must lead to `next item`"),
        ("each: [kitchen, bath-room, hall]", f"each: [{', '.join(f'room-{n}' for n in range(33))}]", 14, "32"),
        ("hall]", "hall]\n    parameters: {second: 3}", 15, "no parameter 'second'"),
        ("hall]", "Hall]", 14, "Hall"),
        ("clean: next item", "clean: Next", 15, "write `next item`, the id of a gate"),
        ("by: [told]", "by: [Told]", 8, "write the full id of a gate"),
        ("outlets/*/looked", "outlets/*/seen", 7, "no gate 'outlets/*/seen'"),
    ],
)
def test_a_fault_is_named_with_its_line(tmp_path: Path, old: str, new: str, line: int, says: str) -> None:
    assert old in HOUSE
    text = HOUSE.replace(old, new, 1)
    with pytest.raises(Problem) as refused:
        house(tmp_path, text)
    assert says in str(refused.value)
    assert f"house.yaml:{line}" in str(refused.value)


def test_thirty_two_items_are_checked_whole(tmp_path: Path) -> None:
    """As many as may be declared; every proof still holds."""
    rooms = ", ".join(f"room-{number}" for number in range(32))
    found = house(tmp_path, HOUSE.replace("[kitchen, bath-room, hall]", f"[{rooms}]"))
    assert len(found.gates) == 32 * 5 + 3
    assert check(found).proven
