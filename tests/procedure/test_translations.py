"""Two languages, one procedure: the same gates, proofs and record; only what is said, heard and shown differs."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handsfree.events import decisions as ev
from handsfree.events.record import to_record
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.trades import trade_data
from handsfree.session.rehearsal import Rehearsal
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan

SHEET = trade_data("ventilation").example
OWN_WORDS = frozenset({"text", "detail", "what", "label", "script", "language", "title", "word"})
"""Keys of events that hold a text as it was spoken."""

SMALL = """\
handsfree: 2
procedure: small
translations: [german]
trade: ventilation
title: {english: A small one, german: Ein kleiner Ablauf}
purpose: {english: To show it., german: Zum Zeigen.}
things:
  windows:
    said: {english: Windows, german: Fenster}
    altered: {english: closed, german: geschlossen}
    restored: {english: as found, german: wie vorgefunden}
gates:
  - id: shut
    kind: confirm
    title: {english: Windows closed, german: Fenster geschlossen}
    source: common practice, no source
    prompt: {english: Close the windows., german: Fenster schließen.}
    done: {english: [closed], german: [geschlossen]}
    alters: [windows]
    not_done: false
  - id: seen
    kind: choice
    title: {english: Fan seen, german: Lüfter besichtigt}
    source: common practice, no source
    needs: {windows: closed}
    prompt: {english: "Fan: in order, or faulty?", german: "Lüfter: einwandfrei, oder mangelhaft?"}
    answers:
      in-order: {heard: {english: [in order], german: [einwandfrei]}, then: back}
      faulty: {heard: {english: [faulty], german: [mangelhaft]}, then: left}
    not_done: left
  - id: back
    kind: restore
    title: {english: Put back, german: Zurückgestellt}
    source: common practice, no source
    things: [windows]
  - {id: end, kind: finish, title: {english: Finish, german: Ende}, source: "common practice, no source"}
  - id: left
    kind: stop
    title: {english: Fan faulty, german: Lüfter mangelhaft}
    source: common practice, no source
    script: {english: Leave it off. Report it., german: Aus lassen. Melden.}
"""
ENGLISH = ("closed", "in order", "windows as found", "confirmed")
GERMAN = ("geschlossen", "einwandfrei", "fenster wie vorgefunden", "bestätigt")


@pytest.fixture
def small(tmp_path: Path) -> Path:
    return written(tmp_path)


def written(folder: Path, old: str = "", new: str = "") -> Path:
    assert old in SMALL
    file = folder / "small.yaml"
    file.write_text(SMALL.replace(old, new, 1) if old else SMALL, "utf-8")
    return file


def recorded(file: Path, language: str, words: tuple[str, ...]) -> list[tuple[str, object]]:
    """Return what a rehearsed visit records, without the texts in its language."""
    visit = Rehearsal(load_plan(file, SHEET, language=language)[0], date(2026, 11, 25))
    for said in words:
        visit.until_asking()
        visit.say(said)
    visit.until_asking()
    assert visit.over
    return [(kind, without_words(content)) for kind, content in map(to_record, visit.events)]


def without_words(value: object) -> object:
    if isinstance(value, dict):
        return {key: without_words(item) for key, item in value.items() if key not in OWN_WORDS}
    return [without_words(item) for item in value] if isinstance(value, list | tuple) else value


def test_the_record_of_a_visit_in_german_is_decided_as_that_in_english(small: Path) -> None:
    """Gates, outcomes, things and the end are the same: the record holds ids, and its language."""
    english, german = recorded(small, "english", ENGLISH), recorded(small, "german", GERMAN)
    decisions = [[one for one in visit if one[0] not in {"typed", "heard"}] for visit in (english, german)]
    assert [kind for kind, _ in decisions[0]] == [kind for kind, _ in decisions[1]]
    assert decisions[0] == decisions[1]
    assert decisions[0][-1][1]["outcome"] == "finished"


def test_both_languages_are_one_version() -> None:
    """The shipped example: one hash, and the same ways."""
    english = load_procedure(procedure_path("extract-ventilation"))
    german = english.in_language("german")
    assert german.version() == english.version()
    assert german.catalogue.language == "german"
    assert german.gates.keys() == english.gates.keys()
    assert {name: one.transitions for name, one in german.gates.items()} == {
        name: one.transitions for name, one in english.gates.items()
    }


@pytest.mark.slow("it proves a shipped procedure in both languages")
def test_the_shipped_example_is_proven_in_both_languages() -> None:
    report = check(load_procedure(procedure_path("extract-ventilation")))
    assert report.proven
    assert "german has no pronunciations" in " ".join(report.remarks)


@pytest.mark.parametrize(
    ("old", "new", "told", "line"),
    [
        (
            "{english: Close the windows., german: Fenster schließen.}",
            "Close the windows.",
            "german lacks this text",
            17,
        ),
        (
            "{english: [closed], german: [geschlossen]}",
            "{english: [closed]}",
            "german lacks this text: closed",
            18,
        ),
        ("english: [faulty]", "english: [in order]", "is the answer in-order and the answer faulty", 29),
        (
            "german: [mangelhaft]",
            "german: [einwandfrei]",
            '"einwandfrei" is the answer in-order and the answer faulty',
            29,
        ),
        ("german: [mangelhaft]", "german: [einwandfrei nicht]", "one begins the other", 28),
        ("german: [mangelhaft]", "german: [stopp]", "means the answer faulty", 29),
        ("german: Aus lassen. Melden.", "german: Ein Mangel. Melden.", "is not what to do", 41),
        ("german: Fenster schließen.", "german: Ganz sicher schließen.", "promises what nobody can know", 17),
        ("german: [geschlossen]", "german: [fertig]", "", 18),
    ],
)
def test_what_is_wrong_in_one_language_is_found_at_its_line(
    tmp_path: Path, old: str, new: str, told: str, line: int
) -> None:
    findings = check(load_procedure(written(tmp_path, old, new))).findings
    assert findings
    assert any(told in finding.what for finding in findings), [finding.what for finding in findings]
    assert line in {finding.place.line for finding in findings}, [str(finding.place) for finding in findings]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("german: Fenster schließen.", "dutch: Ramen dicht.", "'dutch' is no language of this file"),
        ("{english: Close the windows., german", "{german", "the text lacks its english"),
    ],
)
def test_what_no_visit_may_be_led_with_is_refused_at_its_line(
    tmp_path: Path, old: str, new: str, told: str
) -> None:
    file = written(tmp_path, old, new)
    file.write_text(file.read_text("utf-8").replace("[german]\ntrade", "{german: partial}\ntrade"), "utf-8")
    with pytest.raises(Problem, match=told) as caught:
        check(load_procedure(file))
    assert "small.yaml:" in str(caught.value.where)


def test_a_lacking_order_of_a_stop_is_found_among_the_rest_and_no_visit_is_led_without_it(tmp_path: Path) -> None:
    """No author's choice lets a language lack one; whoever checks is still told of every other fault."""
    file = written(tmp_path, "german: Aus lassen. Melden.", "")
    damaged = file.read_text("utf-8").replace("[german]\ntrade", "{german: partial}\ntrade")
    file.write_text(damaged.replace("german: [mangelhaft]", "german: [einwandfrei]"), "utf-8")
    found = check(load_procedure(file))
    (lacks,) = found.failed("translated")
    assert (lacks.place.line, "lacks the order of this stop" in lacks.what) == (41, True)
    assert "no order is left out" in lacks.remedy
    assert any("einwandfrei" in finding.what for finding in found.findings)
    with pytest.raises(Problem, match="the order of this stop has no german") as caught:
        load_plan(file, SHEET, language="german")
    assert "small.yaml:41" in str(caught.value.where)
    assert load_plan(file, SHEET)[0].catalogue.language == "english"


def test_a_text_may_lack_where_the_author_lets_it_and_is_told(tmp_path: Path) -> None:
    file = written(tmp_path, "{english: Close the windows., german: Fenster schließen.}", "Close the windows.")
    file.write_text(file.read_text("utf-8").replace("[german]\ntrade", "{german: partial}\ntrade"), "utf-8")
    report = check(load_procedure(file))
    assert report.failed("translated") == ()
    assert any("small.yaml:17" in remark and "said in english" in remark for remark in report.remarks)


def test_a_part_that_is_not_translated_is_refused_where_it_is_included(tmp_path: Path) -> None:
    part = SMALL.replace("procedure: small", "procedure: part").replace(
        "translations: [german]\n", "exits: [on]\n"
    )
    (tmp_path / "part.yaml").write_text(part, "utf-8")
    file = written(
        tmp_path, "gates:\n", "gates:\n  - {id: first, kind: include, file: part.yaml, exits: {on: shut}}\n"
    )
    with pytest.raises(
        Problem, match=r"'german' is no language of this file|part.yaml is not translated into german"
    ):
        load_procedure(file)


def test_a_language_that_a_procedure_lacks_is_refused_at_the_job_sheet(small: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "jobsheet.yaml"
    sheet.write_text(SHEET.read_text("utf-8") + "\nlanguage: dutch\n", "utf-8")
    (tmp_path / "fan.yaml").write_bytes((SHEET.parent / "fan.yaml").read_bytes())
    with pytest.raises(Problem, match="small is not written in dutch") as caught:
        load_plan(small, sheet)
    assert "jobsheet.yaml:" in str(caught.value.where)
    sheet.write_text(SHEET.read_text("utf-8") + "\nlanguage: german\n", "utf-8")
    assert load_plan(small, sheet)[0].catalogue.language == "german"


def test_a_comparison_tells_what_changed_in_one_language_alone_and_else_says_it_once(tmp_path: Path) -> None:
    before = load_procedure(written(tmp_path))
    (tmp_path / "new").mkdir()
    after = load_procedure(written(tmp_path / "new", "german: [mangelhaft]", "german: [defekt]"))
    (change,) = changes(before, after)
    assert (change.language, change.gate) == ("german", "seen")
    assert "mangelhaft" in change.sentence()
    limit = load_procedure(written(tmp_path / "new", "not_done: left", "not_done: back"))
    assert [one.language for one in changes(before, limit)] == [""]


def test_a_visit_that_nothing_hears_says_so_once_and_records_it(small: Path) -> None:
    from handsfree.session.opening import opened, opening  # noqa: PLC0415

    plan, _ = load_plan(small, SHEET, language="german")
    day = date(2026, 11, 25)
    first = opened(plan, program="test", day=day, sheets_sha256={}, model_sha256=None, unheard=True)
    assert first.language == "german"
    said = [one.text for one in opening(plan, first) if isinstance(one, ev.Said)]
    assert said.count("Für diese Sprache ist keine Spracherkennung installiert. Bitte die Tasten.") == 1
