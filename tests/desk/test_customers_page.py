"""The customer's page of each kind of end: what was done, what was not checked, figures with unit and source."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from led_visits import record_led
from pypdf import PdfReader

from handsfree.desk.concerns import concerns_of
from handsfree.desk.customer import CustomersPage, customers_page
from handsfree.desk.customer_pdf import NAME, customer_pdf, write_customers_page
from handsfree.desk.dossier import Dossier, open_dossier
from handsfree.desk.ending_words import judged_sentence
from handsfree.desk.evidence import Evidence
from handsfree.desk.forms import forms_of
from handsfree.desk.paper import paper_of
from handsfree.desk.record import load
from handsfree.events import decisions as ev
from handsfree.ledger import RecordVerdict, VerificationReport
from handsfree.problem import Problem
from handsfree.session.plan import Plan
from handsfree.visit.recorder import recorded_events

NEVER = re.compile(r"\b(passed|certificates?|safe|safely|savings?|guarantee\w*|u = )\b", re.IGNORECASE)
"""What the customer's page never says: it clears nothing and promises nothing."""

UNSIGNED = {"signatures": "not done because nobody is at home"}
OTHER_WORK = {
    "waiting": ("fault-call", {"answers": {"outcome": "waiting"}}),
    "made-safe": ("fault-call", {"answers": {"outcome": "left-off"}}),
    "conversion": ("gas-conversion", {}),
    "smell": ("smell-or-co-call", {}),
    "return": ("return-with-part", {}),
}
VISITS: dict[str, tuple[str, Mapping[str, Any]]] = {
    "finished": ("annual-service", {"words": UNSIGNED}),
    "left-off": ("annual-service", {"answers": {"tightness": "dropping"}}),
    "incomplete": ("combustion-check", {"words": {"found-minimum": "not done because the analyser is flat"}}),
}


@pytest.fixture(scope="module")
def dossier(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Dossier]:
    """Return the dossier of each kind of end, recorded once; verified in the last test alone."""
    root = tmp_path_factory.mktemp("led")
    known: dict[str, Dossier] = {}

    def of(end: str) -> Dossier:
        if end not in known:
            name, told = {**VISITS, **OTHER_WORK}[end]
            with pytest.MonkeyPatch.context() as patch:
                patch.setenv("HANDSFREE_STATE", str(root / "state"))
                folder = record_led(root / end, name, **told)
            report = VerificationReport(folder, RecordVerdict.CLOSED, "whole", None, (), (), ())
            known[end] = Dossier(Evidence(load(folder), report, alike=[]), report)
        return known[end]

    return of


@pytest.fixture
def page(dossier: Callable[[str], Dossier]) -> Callable[[str], CustomersPage]:
    return lambda end: customers_page(dossier(end))


def pdf_text(content: bytes) -> str:
    return " ".join(" ".join(one.extract_text() for one in PdfReader(io.BytesIO(content)).pages).split())


@pytest.mark.parametrize("end", VISITS)
def test_it_clears_nothing_and_promises_nothing(dossier: Callable[[str], Dossier], end: str) -> None:
    text = pdf_text(customer_pdf(dossier(end)))
    assert NEVER.findall(text) == []
    assert "this paper clears no hazard" in text
    assert "licence invented 12345" in text
    assert "Not checked" in text


@pytest.mark.parametrize("end", VISITS)
def test_each_check_of_the_trade_is_told_once_with_its_answer_or_as_not_checked(
    page: Callable[[str], CustomersPage], dossier: Callable[[str], Dossier], end: str
) -> None:
    """What belongs to other work (a conversion's kit) is told by that work alone; no value, no check."""
    told = page(end)
    checked = [row[0] for row in told.checked[1:]]
    lacking = [name for line in told.not_checked for name in line.rstrip(".").partition(": ")[2].split("; ")]
    for check in forms_of("combustion").report.customer.checks:
        here = bool(dossier(end).evidence.gate_ids(check.gates))
        assert (check.says in checked) + (check.says in lacking) == (here or not check.own), check.says
    assert all(answer for _, answer in told.checked)


@pytest.mark.parametrize("end", VISITS)
def test_no_figure_stands_without_its_unit(page: Callable[[str], CustomersPage], end: str) -> None:
    """But for CO/CO₂, which is a plain ratio. Each table has a line that says where its figures come from."""
    told = page(end)
    figures = [(row[0], cell) for row in told.measured[1:] for cell in row[1:] if re.search(r"\d", cell)]
    figures += [(row[0], cell) for row in told.judged[1:] for cell in row[1:3] if re.search(r"\d", cell)]
    assert figures
    bare = [(name, cell) for name, cell in figures if not re.search(r"\d (%|ppm|mbar|kW|°C)", cell)]
    assert {name for name, _ in bare} <= {"CO/CO₂"}
    assert all(row[4] for row in told.judged)
    named = " ".join(told.sources)
    assert all(name in named for name in ("CO, air-free", "CO/CO₂", "Excess air", "Readings: Flue gas analyser"))


def test_the_figures_follow_from_the_readings(page: Callable[[str], CustomersPage]) -> None:
    """Air-free CO is CO·20.9/(20.9 - O2), the formula of air-free limits (ANSI Z21 type); CO/CO2 by definition."""
    rows = {row[0]: row[1] for row in page("finished").measured}
    co2, o2, co = (float(rows[name].split()[0]) for name in ("CO₂", "O₂", "CO"))
    assert float(rows["CO, air-free"].split()[0]) == pytest.approx(co * 20.9 / (20.9 - o2), abs=0.5)
    assert float(rows["CO/CO₂"]) == pytest.approx(co * 1e-6 / (co2 * 1e-2), abs=0.00005)
    assert rows["Efficiency by flue gas, gross"].endswith(" %")
    assert (
        "Efficiency by flue gas, net" not in rows
    )  # the maker's data is on the gross basis: they are never compared
    assert rows["Limits"] == "8.9 to 9.9 %"


def test_who_did_not_sign_is_told_with_the_reason(page: Callable[[str], CustomersPage]) -> None:
    told = page("finished")
    assert told.unsigned == "Not signed because: nobody is at home."
    assert told.signatures == []
    assert page("left-off").signatures[0] == "Technician: Ines Demoville, licence invented 12345"


def test_what_was_stopped_has_its_warning_and_the_notice(dossier: Callable[[str], Dossier]) -> None:
    text = pdf_text(customer_pdf(dossier("left-off")))
    assert "WARNING NOTICE DUE" in text
    assert "Warning notice" in text
    assert "Do not use this appliance" in text
    assert "Not come to:" in text
    out, off = "Stay out until the emergency service allows going in.", "Leave the appliance off until a licensed"
    assert customers_page(dossier("left-off")).next_visit.startswith(f"{out} {off}")
    assert customers_page(dossier("finished")).notice is None


def test_what_a_check_leaves_out_is_told_as_plainly(page: Callable[[str], CustomersPage]) -> None:
    told = page("incomplete").not_checked
    (no_part,) = [line for line in told if line.startswith("No part of this visit: ")]
    assert "Tightness test of the gas line" in no_part
    assert "Flame failure device" in no_part
    assert any("the analyser is flat" in line for line in told)
    assert "Not judged, since a reading is missing: CO₂ and CO at minimum, as last judged." in told


@pytest.mark.slow("four whole visits are led and recorded")
def test_the_work_of_each_other_visit_is_told(page: Callable[[str], CustomersPage]) -> None:
    """What was converted, found, fitted and repaired, with its answer; a part that is waited for by its words."""
    answers = {end: dict(page(end).checked) for end in OTHER_WORK}
    assert answers["conversion"]["Conversion kit for this boiler and gas"] == "right kit"
    assert answers["conversion"]["Gas on the plate before the conversion"] in {"natural gas", "propane"}
    assert answers["conversion"]["Gas pressure switches set"] == "ranges set"
    assert answers["smell"]["Source of the smell or monoxide"] == "source found"
    assert answers["smell"]["Fault or source repaired"] == "it is repaired"
    assert answers["smell"]["Carbon monoxide alarm"] == "present"
    assert answers["return"]["Part fitted"] == "part is fitted"
    assert "Repaired, waiting or off: waiting, a word about the work" in page("waiting").advice
    assert page("waiting").next_visit.startswith("Leave the appliance off until a licensed person")


@pytest.mark.slow("a whole visit with four turns is led and recorded")
def test_each_turn_of_a_screw_stands_on_both_papers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As found and as left differ because of them: the turns of the record, in its order, and no others."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    folder = record_led(tmp_path / "lean", "commissioning", co2={"maximum": 8.3, "minimum": 8.4})
    turns = [one for one in recorded_events(folder) if isinstance(one, ev.Turned)]
    assert len(turns) == 4
    dossier = open_dossier(folder, alike=[])
    told = customers_page(dossier).turned
    assert paper_of(dossier).turned == told
    assert [one.partition(": ")[0] for one in told] == [f"Turned at {one.rate}" for one in turns]
    assert all(one.direction in text for one, text in zip(turns, told, strict=True))
    assert pdf_text(customer_pdf(dossier)).count("Turned at ") == 4


def test_the_next_visit_is_the_day_on_the_job_sheet_or_none(dossier: Callable[[str], Dossier]) -> None:
    evidence = dossier("finished").evidence
    assert customers_page(dossier("finished")).next_visit.startswith("At the maker's interval; no day")
    plan = evidence.recorded.plan
    assert plan is not None
    job = plan.sheets.job.model_copy(update={"next_visit": date(2027, 11, 20)})
    sheets = plan.sheets.model_copy(update={"job": job})
    agreed = replace(evidence.recorded, plan=Plan(plan.procedure, sheets))
    told = customers_page(Dossier(Evidence(agreed, evidence.report), dossier("finished").report))
    assert told.next_visit == "2027-11-20, as agreed on the job sheet"


def test_a_full_disk_is_told_and_leaves_no_half_page(
    dossier: Callable[[str], Dossier], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = dossier("incomplete").evidence.recorded.folder

    def full(path: Path, _content: bytes) -> int:
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr("handsfree.desk.customer_pdf.open_dossier", lambda _: dossier("incomplete"))
    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(Problem, match="the customer's page cannot be written"):
        write_customers_page(folder)
    assert not list(folder.glob("customer*"))


@pytest.mark.slow("a whole visit is decided again")
def test_the_page_in_the_folder_says_the_checksum_and_the_record_verifies_with_it(
    dossier: Callable[[str], Dossier], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = dossier("finished").evidence.recorded.folder
    monkeypatch.setenv("HANDSFREE_STATE", str(folder.parent / "state"))
    verified = partial(open_dossier, folder, alike=[])
    head = verified().report.head
    assert head is not None
    file = write_customers_page(folder)
    assert file == folder / NAME
    assert head.checksum in pdf_text(file.read_bytes())
    assert verified().report.verdict is RecordVerdict.CLOSED


def test_a_second_pass_that_was_never_due_is_nothing_left_unjudged(dossier: Callable[[str], Dossier]) -> None:
    """No screw was turned, so nobody was to read a second time; a reading that was asked for is told."""
    evidence = dossier("finished").evidence
    lacking = [verdict.gate for _, verdict in evidence.final_verdicts if verdict.outcome == "missing"]
    assert "Two passes at maximum" in {evidence.recorded.gate_title(gate) for gate in lacking}
    assert "Two passes" not in judged_sentence(evidence)
    assert not any("Two passes" in one.says for one in concerns_of(evidence, []))
    asked = Evidence(evidence.recorded, evidence.report, alike=[])
    asked.__dict__["standing_verdicts"] = [
        (step, verdict.model_copy(update={"outcome": outcome}))
        for (step, verdict), outcome in zip(evidence.verdicts, ("within", "missing", "no-limit"), strict=False)
    ]
    titles = [evidence.recorded.gate_title(verdict.gate) for _, verdict in evidence.verdicts[1:3]]
    assert judged_sentence(asked) == (
        "Nothing judged at the end was outside its limits. "
        f"Not judged, since a reading is missing: {titles[0]}. No limit loaded: {titles[1]}."
    )


def test_a_fault_call_that_ends_made_safe_says_what_was_found_and_how_it_is_left(
    page: Callable[[str], CustomersPage],
) -> None:
    """On the notice too: whoever reads it alone reads of the fault, the reported states, and not to use it."""
    told = page("made-safe")
    found = [
        "What the control shows: shows a code, a word about the work",
        "Cause found: cause found, a word about the work",
    ]
    assert told.advice == found
    assert told.warning
    assert told.notice is not None
    assert told.notice.finding == [
        "Left off. The order given: Leave it off. Not put right. Tell whoever is responsible.",
        *found,
    ]
    reported = dict(told.notice.reported)
    assert (reported["Gas cock"], reported["Power"], reported["Responsible person"]) == (
        "gas cock closed", "power isolated", "person told"
    )  # fmt: skip
    assert told.notice.do_not_use.startswith("Do not use this appliance.")
    assert not any("repaired" in answer for _, answer in told.checked[1:])
