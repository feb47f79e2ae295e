"""The warning notice, printed beside the report of a visit that was left off, says no more than was reported."""

import pytest
from led_visits import record_led

from handsfree.desk.customer import customers_page
from handsfree.desk.dossier import open_dossier
from handsfree.desk.notice import _found, notice_of
from handsfree.desk.paper import paper_of
from handsfree.desk.printed import html, pdf
from handsfree.events import decisions as ev


@pytest.fixture(scope="module")
def stopped(recorded):
    return open_dossier(recorded / "stopped", alike=[])


def test_a_visit_that_finished_has_none(recorded):
    assert notice_of(open_dossier(recorded / "whole", alike=[]).evidence) is None


def test_it_names_appliance_finding_states_and_whom_to_call(stopped):
    """And what must not be done; the job sheet of the demo names no number, which is said."""
    notice = notice_of(stopped.evidence)
    assert notice is not None
    assert any("serial" in value for _, value in notice.facts)
    assert notice.finding == [
        "The technician called stop. The order given: Burner off now. Gas cock closed. Stay clear."
    ]
    reported = dict(notice.reported)
    assert reported["Burner"] == "burner switched off"
    assert reported["Probe"] == "inserted"
    assert reported["Responsible person"] == "person told"
    assert "Probe inserted" in notice.left
    assert notice.do_not_use.startswith("Do not use this appliance.")
    assert "job sheet names none" in notice.number


def test_a_limit_that_was_passed_is_told_without_a_name_or_a_code_of_the_record(stopped):
    _, stop = stopped.evidence.recorded.all(ev.Stopped)[-1]
    passed = stop.model_copy(update={"why": "limit", "detail": "air-free-co 1140.0 [ppm], above 400 [ppm]"})
    told = "CO, air-free 1140.0 ppm, above 400 ppm. The order given: Burner off now. Gas cock closed. Stay clear."
    assert _found(stopped.evidence, passed) == told


def test_who_was_sent_out_is_told_to_stay_out_before_all_else(tmp_path, monkeypatch):
    """A smell of gas, left outside: the finding is named, and nobody is sent back in to switch anything off."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    dossier = open_dossier(
        record_led(tmp_path / "visit", "combustion-check", words={"site": "gas smell"}), alike=[]
    )
    notice = notice_of(dossier.evidence)
    assert notice is not None
    assert notice.finding[0].startswith("A smell of gas was called. The order given: Gas. Touch no switch.")
    stay_out = "Stay out until the emergency service allows going in."
    page = customers_page(dossier)
    assert notice.do_not_use.startswith(f"{stay_out} Do not use this appliance.")
    assert page.until.startswith(stay_out)
    assert page.next_visit.startswith(stay_out)
    assert stay_out in paper_of(dossier).in_short[-1]


def test_after_a_stop_to_stay_for_nobody_is_told_to_stay_out(stopped):
    assert "Stay out" not in notice_of(stopped.evidence).do_not_use


def test_it_is_printed_on_a_page_of_its_own(stopped):
    """In both forms, after the report."""
    text = html(stopped)
    assert text.index("Warning notice") > text.index("Not done")
    assert "As reported by the technician" in text
    assert len(pdf(stopped)) > 3000


def test_it_promises_permits_and_guesses_nothing(stopped):
    text = " ".join(
        [*(value for _, value in notice_of(stopped.evidence).reported), notice_of(stopped.evidence).do_not_use]
    ).lower()
    for word in ("safe", "permit", "waive", "probably", "may be used"):
        assert word not in text.split()


def test_such_a_visit_is_never_called_finished(stopped):
    """Its sentence and its title say how it was left."""
    paper = paper_of(stopped)
    assert paper.title == "Stopped work: Two-rate combustion set-up"
    assert paper.in_short[0].startswith("The work was stopped at the step “")
    assert "the technician called stop" in paper.in_short[0]
