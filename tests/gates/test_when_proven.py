"""Conditions as an author meets them: proven in every combination, refused with their place, drawn and weighed.

No standard says how a procedure branches. How many combinations are gone through, 4,096 at most, is the language's
own rule.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from valves import HEAD, WITH_PART, WRITTEN, procedure, proofs

from handsfree.gates.outcomes import NOT_ASKED
from handsfree.problem import Problem
from handsfree.procedure.cards import card_of
from handsfree.procedure.comparison import changes
from handsfree.procedure.proofs.check import check


def test_the_proofs_go_through_each_combination(tmp_path: Path) -> None:
    """Nothing stays altered: the cap is put back on just those visits that took it off."""
    assert check(procedure(tmp_path)).findings == ()


@pytest.mark.parametrize(
    ("old", "new", "proof"),
    [
        ("when: {valve: [open]}", "when: {valve: [sealed]}", "restored"),
        ("when: {valve: [open]}", "when: {valve: [open], appliance.store: stored}", "restored"),
        ("when: {appliance.store: stored},", "needs: {cap: fitted},", "needs"),
        ("done: [removed],", 'done: [removed], when: {job.people_at_risk: "no"},', "reachable"),
    ],
)
def test_a_condition_that_breaks_a_proof_is_found(tmp_path: Path, old: str, new: str, proof: str) -> None:
    assert old in WRITTEN
    assert proof in proofs(tmp_path, WRITTEN.replace(old, new, 1))


def test_a_story_tells_the_sheet_that_it_happens_with(tmp_path: Path) -> None:
    text = WRITTEN.replace("when: {valve: [open]}", "when: {valve: [open], appliance.store: stored}")
    found = next(one for one in check(procedure(tmp_path, text)).findings if one.proof == "restored")
    said = {beat.gate: beat.said for beat in found.story}
    assert said["cap-on"] == "(not asked: valve other than open, appliance.store other than stored)"
    assert said["store"] == "(not asked: appliance.store other than stored)"


def test_a_need_counts_only_where_the_gate_is_asked(tmp_path: Path) -> None:
    """Asked only after the cap came off, it may need the cap off."""
    text = WRITTEN.replace("when: {valve: [open]}, things", "when: {valve: [open]}, needs: {cap: removed}, things")
    assert proofs(tmp_path, text) == set()


def test_whether_a_second_person_is_asked_does_not_hang_on_an_answer(tmp_path: Path) -> None:
    told = "{id: told, kind: confirm, title: Told, source: own,"
    by = f"{told} answered_by: second person, not_done: cap-on, "
    assert "second-person" in proofs(tmp_path, WRITTEN.replace(told, f"{by} when: {{valve: [open]}},"))
    assert "second-person" not in proofs(
        tmp_path, WRITTEN.replace(told, f"{by} when: {{appliance.store: stored}},")
    )


def test_a_branch_follows_no_answer_that_a_used_up_bound_took_the_place_of(tmp_path: Path) -> None:
    """The gate was left open once, then shut, then its bound was used up: the branch is that of neither.

    The proof took the answer before for the last one, and found the cap put back.
    """
    text = (
        HEAD.replace("{says: valve, by: [valve]}, ", "")
        + """\
  - id: valve
    kind: choice
    title: Valve
    source: own
    at_most: 1
    exhausted: opened
    prompt: "Valve: still shut, or left open?"
    answers:
      sealed: {heard: [still shut], then: opened}
      open: {heard: [left open], then: cap-off}
    not_done: opened
  - {id: cap-off, kind: confirm, title: Cap off, source: own, prompt: Take off the cap., done: [removed],
     alters: [cap], not_done: false, then: valve}
  - {id: opened, kind: branch, title: Opened, source: own, answer: valve, branches: {open: cap-on},
     otherwise: told}
  - {id: cap-on, kind: restore, title: Cap on, source: own, things: [cap]}
  - {id: told, kind: confirm, title: Told, source: own, prompt: Tell the owner., done: [told]}
  - {id: finish, kind: finish, title: Finish, source: own}
"""
    )
    assert "restored" in proofs(tmp_path, text)


@pytest.mark.parametrize(
    ("old", "new", "caret", "says"),
    [
        (
            "appliance.store: stored",
            "appliance.stor: stored",
            "appliance.stor:",
            "did you mean 'appliance.store'?",
        ),
        ("appliance.store: stored", "appliance.store: storred", "storred", "did you mean 'stored'?"),
        ("appliance.store: stored", "appliance.manual: a", "appliance.manual", "appliance.manual is no choice"),
        ("valve: [open]", "valv: [open]", "valv:", "there is no gate 'valv'; did you mean 'valve'?"),
        ("valve: [open]", "valve: [open, opend]", "opend", "valve is never 'opend'; did you mean 'open'?"),
        ("valve: [open]", "cap-on: [done]", "cap-on: [", "cap-on cannot decide about itself"),
        ("store: stored", "store: [stored, instantaneous]", "[stored, inst", "so it decides nothing"),
        ("title: Finish,", "title: Finish, when: {valve: open},", "{valve: open},", "ends the visit"),
        ("title: Told,", "title: Told, otherwise: finish,", "finish, source", "`otherwise`, and no `when`"),
        ("otherwise: store", "not_done: store", '{job.people_at_risk: "yes', "no way for when it does not hold"),
    ],
)
def test_only_what_is_declared_decides(tmp_path: Path, old: str, new: str, caret: str, says: str) -> None:
    """With the caret on the word, and the nearest name."""
    text = WRITTEN.replace("    then: store\n  - {id: cap-off", "    not_done: store\n  - {id: cap-off", 1)
    text = text.replace("    not_done: store\n", "", 1) if new.startswith("not_done") else text
    assert old in text
    text = text.replace(old, new, 1)
    before = text[: text.index(caret)]
    at = f"{1 + before.count(chr(10))}:{1 + len(before.rpartition(chr(10))[2])}"
    with pytest.raises(Problem) as refused:
        procedure(tmp_path, text)
    assert says in str(refused.value)
    assert f"valves.yaml:{at}: " in str(refused.value)


def test_more_than_4096_combinations_are_refused_at_the_condition_that_makes_them_too_many(tmp_path: Path) -> None:
    """Five choices of six values (four answers, not done, not come to) make 7,776; the first four 1,296."""
    gates = "".join(
        f"""\
  - id: asked-{word}
    kind: choice
    title: Asked {word}
    source: own
    prompt: "One, two, three or four?"
    answers:
      a: {{heard: [first one], then: seen-{word}}}
      b: {{heard: [second one], then: seen-{word}}}
      c: {{heard: [third one], then: seen-{word}}}
      d: {{heard: [fourth one], then: told}}
    then: seen-{word}
  - {{id: seen-{word}, kind: confirm, title: Seen {word}, source: own, prompt: Look., done: [looked],
     when: {{asked-{word}: a}}}}
"""
        for word in ("one", "two", "three", "four", "five")
    )
    text = HEAD.replace("{says: valve, by: [valve]}, ", "") + gates + WRITTEN[WRITTEN.index("  - {id: told") :]
    with pytest.raises(Problem, match="7,776 combinations, and 4,096 are the most") as refused:
        procedure(tmp_path, text)
    line = 1 + text[: text.index("when: {asked-five")].count("\n")
    assert f"valves.yaml:{line}:13" in str(refused.value)


def test_the_card_and_the_ways_show_the_condition(tmp_path: Path) -> None:
    drawn = procedure(tmp_path)
    card = card_of(drawn, drawn.gates["cap-on"])
    assert "asked when: valve is open" in [line.text for line in card.lines]
    assert (NOT_ASKED, "told") in [(way, one.to) for one in card.ways for way in one.outcomes]


@pytest.mark.parametrize(
    ("old", "new", "weights"),
    [
        ("when: {valve: [open]}, ", "", {"tighter"}),
        ("when: {valve: [open]}", "when: {valve: [open, sealed]}", {"tighter"}),
        ("when: {valve: [open]}", "when: {valve: [sealed]}", {"looser"}),
        ("title: Told, ", "title: Told, when: {appliance.store: stored}, ", {"looser"}),
        (
            "when: {appliance.store: stored},",
            'when: {appliance.store: stored, job.people_at_risk: "no"},',
            {"looser"},
        ),
    ],
)
def test_a_changed_condition_is_weighed(tmp_path: Path, old: str, new: str, weights: set[str]) -> None:
    assert old in WRITTEN
    was = procedure(tmp_path)
    now = procedure(tmp_path, WRITTEN.replace(old, new, 1))
    assert {one.weight for one in changes(was, now)} == weights


def test_a_part_that_gets_a_condition_is_looser(tmp_path: Path) -> None:
    always = WITH_PART.replace("when: {appliance.store: stored}, title: Store looked at,\n    ", "")
    was, now = procedure(tmp_path, always), procedure(tmp_path, WITH_PART)
    assert "looser" in {one.weight for one in changes(was, now)}
    assert {one.weight for one in changes(now, was) if one.aspect == "gates"} == {"tighter"}
