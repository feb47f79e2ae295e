"""Nothing that the ears and the further opinions tell of an utterance is lost on its way into the record."""

from __future__ import annotations

import json
from dataclasses import fields
from decimal import Decimal
from typing import Any

import numpy as np

from handsfree.events import inputs as inp
from handsfree.events.record import from_record, to_record
from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.general.judging import GeneralJudgement
from handsfree.hearing.utterance import Utterance
from handsfree.visit.hearing import heard_from

WORD = SpokenWord("tight", 100, 800, Decimal("0.9"))
HEARD = Hypothesis(
    (WORD,), Decimal("-0.5"), general=Decimal("-1.25"), habit=Decimal("-4.5"), phones=Decimal("-2.75")
)
JUDGEMENT = GeneralJudgement(
    "a test",
    "Tight.",
    Decimal("-0.75"),
    late=True,
    stop_alone=True,
    phones=Decimal("-1.5"),
    phone_network="a phone test",
    habit=Decimal("-6.5"),
)
NOT_RECORDED = {"left_out"}
"""Told on the screen; the record holds the late ones that led to it."""


def recorded() -> dict[str, Any]:
    """Return an utterance with every figure as the record keeps it, by way of JSON."""
    utterance = Utterance(
        (HEARD,), (), 0, 900, False, False, False, -60.0, -20.0, 0, np.zeros(16, np.int16), JUDGEMENT
    )
    kind, content = to_record(heard_from(utterance, 0, 1000, "a grammar", None))
    assert kind == "heard"
    found: dict[str, Any] = json.loads(json.dumps(content))
    return found


def test_each_figure_of_an_alternative_is_recorded() -> None:
    """By the fields of the class: one that is added and not carried over is told here."""
    found = from_record("heard", recorded())
    assert isinstance(found, inp.Heard)
    (kept,) = found.alternatives
    for field in fields(Hypothesis):
        told = getattr(HEARD, field.name)
        assert field.name == "words" or told != field.default, "the example leaves none as it is by default"
        assert field.name == "words" or getattr(kept, field.name) == told, field.name
    assert [dict(word) for word in kept.words] == [vars(WORD)]


def test_each_figure_of_the_further_opinion_is_recorded() -> None:
    """All but what only the screen tells."""
    kept = inp.GeneralHearing.model_validate(recorded()["general"])
    for name in {field.name for field in fields(GeneralJudgement)} - NOT_RECORDED:
        told = getattr(JUDGEMENT, name)
        assert told != inp.GeneralHearing.model_fields[name].default
        assert getattr(kept, name) == told, name


def test_a_record_of_before_the_phone_network_reads_as_one_where_it_was_not_asked() -> None:
    """As version 21 wrote it: everything else stays."""
    older = recorded()
    del older["general"]["phones"], older["general"]["phone_network"], older["alternatives"][0]["phones"]
    found = from_record("heard", older)
    assert isinstance(found, inp.Heard)
    assert found.general is not None
    assert (found.general.phones, found.general.phone_network) == (None, "")
    assert [one.phones for one in found.alternatives] == [None]
    today = to_record(found)[1]
    assert today["general"] == {**older["general"], "phones": None, "phone_network": ""}
    assert today["alternatives"] == [{**older["alternatives"][0], "phones": None}]
