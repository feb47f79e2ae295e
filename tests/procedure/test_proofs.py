"""Each proof catches the fault it is for, tells a story that can happen, and passes what is right."""

from __future__ import annotations

from collections import deque
from pathlib import Path

import pytest
from generated import text
from workshop import PROVEN, block, damaged, procedure_of, random_text

from handsfree.gates.confirm import ConfirmGate
from handsfree.gates.finish import FinishGate
from handsfree.gates.outcomes import DONE, ENDS, EXHAUSTED
from handsfree.gates.restore import RestoreGate
from handsfree.problem import Problem
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.proofs.finding import PROOFS
from handsfree.shipped import shipped_procedures

SHIPPED = shipped_procedures()


LARGE = {
    "annual-service", "combustion-check", "commissioning", "fault-call", "gas-conversion", "proved-again",
    "return-with-part", "smell-or-co-call", "two-rate-combustion",
}  # fmt: skip
WHOLE = [
    pytest.param(path, id=path.stem, marks=pytest.mark.slow("seconds each") if path.stem in LARGE else ())
    for path in SHIPPED
]


@pytest.mark.parametrize("path", WHOLE)
def test_every_shipped_procedure_is_proven_and_reads_nothing_in_vain(path: Path) -> None:
    report = check(load_procedure(path))
    assert [remark for remark in report.remarks if "which nothing judges" in remark] == []
    assert report.proven, [f"{finding.place}: {finding.what}" for finding in report.findings]


def test_the_sample_is_proven() -> None:
    assert [finding.what for finding in check(procedure_of(PROVEN)).findings] == []


LIMITED = """\
  - id: supply
    kind: verdict
    title: Supply
    source: the regulation
    firing: true
    calculation: reading-in-limits
    using: {readings: standing}
    limits: {quantity: standing_pressure, low: 18, source: the regulation}
    branches: {within: flue, too-close: flue, outside: stop-fault, missing: stop-fault}
"""
AGAIN = LIMITED.replace("id: supply", "id: supply-again").replace("low: 18", "low: 17")

FAULTS = [
    (
        "can-finish",
        [("within: put-back\n", "within: hold\n"), ("then: put-back", "then: stop-fault")],
        "from hold",
    ),
    (
        "proves",
        [
            ("cautions:\n", "proves:\n  - {says: judged by hand, by: [by-the-manual]}\ncautions:\n"),
            ("{heard: [acceptable], then: put-back}", "{heard: [acceptable], then: stop-fault}"),
        ],
        "no visit that finishes can show 'judged by hand'",
    ),
    ("can-stop", [("done: [removed]", "done: [stop work]")], '"stop work" means'),
    ("bounded", [("    at_most: 4\n    exhausted: stop-fault\n", "")], "nothing bounds the loop"),
    (
        "bounded",
        [("    at_most: 3\n    exhausted: stop-fault\n", "    at_most: 3\n    exhausted: turn\n")],
        "bounds",
    ),
    ("restored", [("things: [rate-hold, set-point]", "things: [rate-hold]")], "set-point) still raised"),
    ("needs", [("    things: [cover]\n", "    things: [rate-hold]\n")], "flue needs Cover (cover) fitted"),
    (
        "captured",
        [("    not_done: stop-fault\n  - id: set-point-raised", "  - id: set-point-raised")],
        "before its",
    ),
    ("captured", [("    needs: {set-point: restored}\n", "")], "going back to"),
    ("branches", [("no-limit: flue, ", "")], "'no-limit' of supply-pressure leads nowhere"),
    ("branches", [("missing: stop-fault}", "missing: stop-fault, odd: flue}")], "never answers 'odd'"),
    (
        "branches",
        [("calculation: combustion-at-rate\n    rate: maximum", "calculation: combustion-at-rate")],
        "rate",
    ),
    ("branches", [("using: {standing: standing", "using: {standing: stood")], "keeps standing_pressure"),
    ("branches", [("rate: maximum\n    using: flue", "rate: minimum\n    using: flue")], "the other rate"),
    ("advice", [("within: put-back\n", "within: cover-off\n")], "judged, not judged out"),
    ("advice", [("outside: stop-fault, no-limit", "outside: flue, no-limit")], "supply-pressure was left outside"),
    ("advice", [("no-limit: flue, missing: stop-fault}", "no-limit: flue, missing: flue}")], "found no readings"),
    ("advice", [("no_advice: stop-fault", "no_advice: cover-on")], "when no turn may be advised"),
    ("resolved", [("outside: cover-off", "outside: put-back")], "left outside"),
    ("decides", [("acceptable], then: put-back", "acceptable], then: stop-fault")], "decides nothing"),
    ("decides", [("done: [removed]\n    alters: [cover]", "done: [fitted]\n    alters: [cover]")], '"fitted"'),
    ("decides", [("    alters: [cover]\n", "")], "changes nothing"),
    ("own-words", [("    alters: [cover]\n", "    alters: [cover]\n    own_words: false\n")], "ordinary yes"),
    ("own-words", [("done: [removed]", "done: [done]")], '"done" passes it'),
    ("own-words", [("done: [raised]", "done: [maximum held]")], 'which is neither "raised" nor of its title'),
    (
        "not-done",
        [('prompt: "Standing pressure?"', 'prompt: "Standing pressure?"\n    not_done: false')],
        "cannot be",
    ),
    ("firing", [(block("flue"), block("flue").replace("    firing: true\n", ""))], "flue reads a held rate"),
    ("firing", [(block("cover-on"), block("cover-on").replace("    firing: true\n", ""))], "lies between"),
    ("apart", [("done: [removed]", "done: [repeats]")], "phones apart"),
    ("apart", [("heard: [not acceptable]", "heard: [acceptable twice]")], "begins"),
    ("vocabulary", [("done: [removed]", "done: [removed, frobbled]")], "frobbled"),
    ("sayable", [("low: 0.1, high: 75", "low: 0.1, high: 95")], "outside what can be said"),
    ("units", [("captures: set-point", "captures: cover")], "whose setting is None"),
    ("limits", [(block("supply"), LIMITED.replace("low: 18", "low: 75.5"))], "misses its limits"),
    ("limits", [(block("supply"), LIMITED.replace("low: 18", "low: 0.1"))], "keeps its limits"),
    ("one-limit", [(block("supply"), LIMITED + AGAIN)], "by other limits than supply"),
    ("in-order", [("cautions:\n", "in_order: [[hold, set-point-raised]]\ncautions:\n")], "is come to before hold"),
    ("sources", [("    source: the maker's manual\n", "")], "by-the-manual"),
    (
        "short",
        [("prompt: Cover off.", "prompt: Take the whole of the front cover off now with both hands.")],
        "words",
    ),
    ("clean", [("prompt: Cover off.", "prompt: Cover off. CO alarm near?")], "co-alarm"),
    ("clean", [("- Hot surfaces.", "- It is safe now.")], "promises"),
    ("action-first", [("script: Boiler off. Put", "script: A fault was found. Put")], "A fault was found"),
    ("sheets", [("prompt: Cover off.", 'prompt: "Cover off, {job.seriel}."')], "job.seriel"),
    ("sheets", [("jobsheet: [serial]", "jobsheet: [cereal]")], "cereal"),
]


@pytest.mark.parametrize(("proof", "replacements", "says"), FAULTS)
def test_a_fault_fails_its_proof_at_its_line(proof: str, replacements: list[tuple[str, str]], says: str) -> None:
    procedure = damaged(*replacements)
    failed = check(procedure).failed(proof)
    assert any(says in finding.what for finding in failed), [f.what for f in check(procedure).findings]
    lines = procedure.documents[0].text.splitlines()
    assert all(1 <= finding.place.line <= len(lines) for finding in failed)


def test_a_gate_that_only_a_bound_out_of_reach_leads_to_is_not_reached() -> None:
    """Entered once, a bound of two is never used up: what only "exhausted" leads to stays dark."""
    text = PROVEN.replace("    firing: true\n    prompt: Hold", "    prompt: Hold")
    text = text.replace(
        "prompt: Raise the set point.", "prompt: Raise the set point.\n    at_most: 2\n    exhausted: far"
    )
    text += "  - {id: far, kind: stop, title: Far away, source: test, script: Boiler off.}\n"
    found = check(procedure_of(text)).failed("reachable")
    assert [finding.gate for finding in found] == ["far"]


def test_gates_that_do_the_same_must_need_the_same() -> None:
    twice = block("flue").replace("id: flue\n", "id: flue-again\n").replace("cover: fitted, ", "")
    twice = twice.replace("wait_seconds: 180", "wait_seconds: 120")
    text = PROVEN.replace(block("flue"), block("flue") + twice)
    waits, needs = (one.what for one in check(procedure_of(text)).failed("alike"))
    assert waits == "flue-again waits 120 s, and all its likes wait 180 s or longer"
    assert "flue-again does not need cover" in needs


def test_a_gate_that_does_at_least_what_another_does_needs_what_that_needs() -> None:
    """Not the other way round: who does less may need less."""
    needed = block("hold").replace("prompt: Hold", "needs: {cover: fitted}\n    prompt: Hold")
    more = block("hold").replace("id: hold\n", "id: hold-and-raise\n")
    more = more.replace("[rate-hold]", "[rate-hold, set-point]").replace("[maximum held]", "[maximum held raised]")
    found = check(procedure_of(PROVEN.replace(block("hold"), needed + more))).failed("alike")
    assert [(one.gate, one.remedy) for one in found] == [("hold-and-raise", "write needs: {cover: fitted}")]
    less = more.replace("prompt: Hold", "needs: {cover: fitted}\n    prompt: Hold")
    assert check(procedure_of(PROVEN.replace(block("hold"), block("hold") + less))).failed("alike") == ()


@pytest.mark.parametrize(("bound", "told"), [(16, []), (17, ["again may be entered 17 times"])])
def test_a_bound_far_beyond_that_of_all_likes_is_told(bound: int, told: list[str]) -> None:
    """At four times that of its likes none is yet."""
    again = block("hold").replace("id: hold\n", "id: again\n").replace("at_most: 4", f"at_most: {bound}")
    found = check(procedure_of(PROVEN.replace(block("hold"), block("hold") + again))).failed("alike")
    assert [one.what.partition(",")[0] for one in found] == told


def test_two_things_are_put_back_in_one_order() -> None:
    text = PROVEN.replace(
        block("put-back"), block("put-back") + block("put-back").replace("id: put-back", "id: again")
    )
    assert check(procedure_of(text)).failed("alike") == ()
    things = next(line for line in block("put-back").splitlines() if "things:" in line)
    turned = (
        block("put-back")
        .replace("id: put-back", "id: again")
        .replace(things, "    things: [" + ", ".join(reversed(things.split("[")[1].rstrip("]").split(", "))) + "]")
    )
    found = check(procedure_of(PROVEN.replace(block("put-back"), block("put-back") + turned))).failed("alike")
    assert {one.gate for one in found} == {"again"}


def test_what_is_needed_right_before_and_right_after_is_needed_between() -> None:
    """The gate between asks by the held rate too, though nothing moves on the way."""
    between = "  - {id: between, kind: confirm, title: Between, source: test, firing: true, prompt: Look.}\n"
    again = block("flue").replace("id: flue\n", "id: flue-again\n").replace("point: flue", "point: again")
    text = PROVEN.replace(block("flue"), block("flue") + between + again)
    found = check(procedure_of(text)).failed("alike")
    assert [(one.gate, one.remedy) for one in found] == [
        ("between", "write needs: {cover: fitted}"),
        ("between", "write needs: {rate-hold: held}"),
    ]


def test_stale_readings_are_not_judged() -> None:
    """A second set kept from before the turn may not be judged after it."""
    again = block("flue").replace("id: flue\n", "id: early\n").replace("point: flue", "point: early")
    late = (
        block("flue-verdict")
        .replace("id: flue-verdict", "id: late-verdict")
        .replace("readings: flue", "readings: early")
    )
    text = PROVEN.replace(block("flue"), again + block("flue")).replace(
        block("by-the-manual"), late + block("by-the-manual")
    )
    text = text.replace("within: put-back", "within: late-verdict", 1).replace("{within: flue,", "{within: early,")
    found = check(procedure_of(text)).failed("fresh")
    assert "late-verdict judges early" in found[0].what


def test_a_story_names_gates_words_and_what_is_altered() -> None:
    report = check(damaged(("things: [rate-hold, set-point]", "things: [rate-hold]")))
    story = report.failed("restored")[0].story
    assert [beat.gate for beat in story][:3] == ["standing-pressure", "set-point-found", "set-point-raised"]
    assert story[2].said == '"raised"'
    assert story[2].altered == ("set-point",)
    assert story[-1].gate == "finish"
    assert story[-1].altered == ("set-point",)


def test_a_story_counts_a_loop_out() -> None:
    """The bound is reached only when its gate has really been entered so often."""
    report = check(damaged((block("hold"), block("hold").replace("exhausted: stop-fault", "exhausted: finish"))))
    found = report.failed("restored")
    assert found
    story = found[0].story
    assert sum(beat.gate == "hold" for beat in story) == 5
    assert "bound reached" in next(beat.said for beat in reversed(story) if beat.gate == "hold")


def test_a_sheet_does_not_lose_its_limit_within_a_visit() -> None:
    """Outside now and "no limit" later cannot both happen, so that story is not told."""
    text = PROVEN.replace("no-limit: by-the-manual", "no-limit: put-back").replace(block("by-the-manual"), "")
    assert [f.what for f in check(procedure_of(text)).failed("resolved")] == []


@pytest.mark.parametrize("seed", range(60))
def test_the_search_agrees_with_trying_every_state(seed: int) -> None:
    """Against a plain search over gates x all altered things x all counts, written apart from the product's."""
    procedure = procedure_of(random_text(seed, gates=6, things=2))
    report = check(procedure)
    reached, unmet, unrestored = everything(procedure)
    assert {f.gate for f in report.failed("reachable")} == set(procedure.gates) - reached
    assert {
        (f.gate, thing) for f in report.failed("needs") for thing in procedure.things if f"({thing})" in f.what
    } == unmet
    assert {
        thing for f in report.failed("restored") for thing in procedure.things if f"({thing})" in f.what
    } == unrestored


def everything(  # noqa: C901 - written flat, apart from the product
    procedure: Procedure,
) -> tuple[set[str], set[tuple[str, str]], set[str]]:
    """Return gates entered, (gate, thing) with an unmet need, and things altered at a finish, by brute force.

    An unmet need is put right as the visit would ask for it.
    """
    start = (procedure.first, frozenset(), ())
    seen, queue = {start}, deque([start])
    reached: set[str] = set()
    unmet: set[tuple[str, str]] = set()
    unrestored: set[str] = set()
    while queue:
        gate_id, altered, before = queue.popleft()
        reached.add(gate_id)
        placed = procedure.gates[gate_id]
        gate = placed.gate
        counts = dict(before)
        bounded = gate.at_most is not None
        if bounded:
            counts[gate_id] = min(counts.get(gate_id, 0) + 1, gate.at_most + 1)
        over = bounded and counts[gate_id] > gate.at_most
        now = set(altered)
        if not over:
            for thing, state in gate.needs.items():
                if (state == "open") != (thing in now):
                    unmet.add((gate_id, thing))
                    now.symmetric_difference_update({thing})
            if isinstance(gate, FinishGate):
                unrestored |= now
        for outcome, to in placed.transitions.items():
            if to in ENDS or (outcome == EXHAUSTED) != over:
                continue
            then = set(altered) if over else set(now)
            if outcome == DONE and isinstance(gate, ConfirmGate):
                then = (then - set(gate.restores)) | set(gate.alters)
            if outcome == DONE and isinstance(gate, RestoreGate):
                then -= set(gate.things)
            following = (to, frozenset(then), tuple(sorted(counts.items())))
            if following not in seen:
                seen.add(following)
                queue.append(following)
    return reached, unmet, unrestored


@pytest.mark.slow("five hundred gates")
def test_five_hundred_gates_and_twelve_things_are_proven() -> None:
    """What that costs, and how it grows, is printed by tests/bench/proofs/speed.py."""
    assert check(procedure_of(text(503, 12), "big")).proven


def test_every_proof_has_a_test_here() -> None:
    # The last three: test_answered_by.py, test_translations.py and tests/gates/test_table.py.
    own = {"reachable", "alike", "fresh", "re-entry", "second-person", "translated", "rows"}
    assert {fault[0] for fault in FAULTS} | own == set(PROOFS)


def test_an_order_that_is_kept_holds_and_may_be_gone_through_again() -> None:
    """A loop leads to its first gate once more."""
    kept = "in_order: [[set-point-found, set-point-raised], [cover-off, turn, cover-on]]\ncautions:\n"
    assert check(damaged(("cautions:\n", kept))).failed("in-order") == ()
    with pytest.raises(Problem, match="there is no gate 'nowhere'") as caught:
        damaged(("cautions:\n", "in_order: [[hold, nowhere]]\ncautions:\n"))
    assert str(caught.value.where).startswith("sample.yaml:5:")


REMARKS = [
    ("standing pressure that nothing judges", [(block("supply"), "")], "reads standing_pressure, which nothing"),
    ("a thing that nobody alters", [("    alters: [cover]\n", "")], "no gate alters cover, so what needs it"),
    (
        "a limit in another unit",
        [(block("supply"), LIMITED.replace("standing_pressure, low: 18", "working_pressure, low: 0.5"))],
        "whatever the trade calls usual or unusual of working_pressure keeps its limits; is the unit right?",
    ),
]


@pytest.mark.parametrize(("_", "replacements", "says"), REMARKS, ids=[one[0] for one in REMARKS])
def test_what_nothing_hangs_on_is_remarked(_: str, replacements: list[tuple[str, str]], says: str) -> None:
    replaced = [(old, new.replace("{readings: standing}", "{readings: working}")) for old, new in replacements]
    if not replaced[0][1]:
        replaced.append(("    then: flue\n", "    then: flue\n"))
    assert not any(says in remark for remark in check(procedure_of(PROVEN)).remarks)
    assert any(says in remark for remark in check(damaged(*replaced)).remarks)


def test_a_reading_that_is_said_to_be_only_recorded_is_not_remarked() -> None:
    unjudged = (block("supply"), "")
    said = ("    point: standing\n", "    point: standing\n    only_recorded: true\n")
    told = check(damaged(unjudged, said)).remarks
    assert not any("standing_pressure" in remark for remark in told)
    assert any("working_pressure" in remark for remark in told)
