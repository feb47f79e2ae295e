"""What the benches of hearing are measured on is there: a bench on no gate would print figures of nothing."""

from __future__ import annotations

import random
from datetime import date

import pytest

from handsfree.demo.play import scenario_files
from handsfree.session.rehearsal import Rehearsal
from handsfree.shipped import procedure_path
from handsfree.visit.folder import load_plan
from tests.bench.hearing.material import gates
from tests.live.support.long_visit import ASIDES, at_gate, person_for


@pytest.mark.slow("recordings are heard twice")
def test_other_talk_and_noise_are_heard_at_a_readings_gate_and_at_a_confirmation() -> None:
    found = gates()
    assert set(found) == {"readings", "confirm"}
    assert all(grammar.words() for grammar in found.values())


def test_the_person_of_the_long_visit_says_something_else_at_a_gates_own_question() -> None:
    plan, _ = load_plan(procedure_path("two-rate-combustion"), scenario_files()[0])
    visit, person = Rehearsal(plan, date(2026, 11, 5)), person_for(plan)
    person.dice = random.Random(1)
    visit.until_asking()
    assert at_gate(plan, visit.state)
    assert person.says(visit.state, aside=1.0) in ASIDES
