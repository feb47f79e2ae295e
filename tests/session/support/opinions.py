"""Utterances with the general recogniser's opinion beside our own scores."""

from __future__ import annotations

from decimal import Decimal

from rehearsed import at, shipped, utterance

from handsfree.events.inputs import GeneralHearing, Heard
from handsfree.session.fusion import Interpretation, choose


def heard(gate: str, text: str, likelihood: str, *alternatives: tuple[str, str, str | None]) -> Heard:
    """Return an utterance at a gate: words, our score, the general recogniser's; and its free text."""
    return with_opinion(
        utterance(at(gate), *((words, score) for words, score, _ in alternatives)), text, likelihood, *alternatives
    )


def with_opinion(ours: Heard, text: str, likelihood: str, *alternatives: tuple[str, str, str | None]) -> Heard:
    """Return what our own ears heard with the general recogniser's likelihoods, and its free text."""
    weighed = tuple(
        one.model_copy(update={"general": None if likely is None else Decimal(likely)})
        for one, (_, _, likely) in zip(ours.alternatives, alternatives, strict=True)
    )
    general = GeneralHearing(member="test", text=text, likelihood=Decimal(likelihood))
    return ours.model_copy(update={"alternatives": weighed, "general": general})


def with_phones(found: Heard, likeliest: str, *likely: str | None) -> Heard:
    """Return an utterance with the likelihood of each alternative's phones, and of the likeliest of all."""
    assert found.general is not None
    told = tuple(
        one.model_copy(update={"phones": None if each is None else Decimal(each)})
        for one, each in zip(found.alternatives, likely, strict=True)
    )
    general = found.general.model_copy(update={"phones": Decimal(likeliest), "phone_network": "test"})
    return found.model_copy(update={"alternatives": told, "general": general})


def with_habits(found: Heard, of_text: str | None, *habits: str | None) -> Heard:
    """Return an utterance with what it says of each alternative, and of its free text, on noise alone."""
    assert found.general is not None
    told = tuple(
        one.model_copy(update={"habit": None if each is None else Decimal(each)})
        for one, each in zip(found.alternatives, habits, strict=True)
    )
    general = found.general.model_copy(update={"habit": None if of_text is None else Decimal(of_text)})
    return found.model_copy(update={"alternatives": told, "general": general})


def chosen(gate: str, found: Heard) -> Interpretation:
    """Return what is chosen when that is heard as a gate has just asked."""
    state = at(gate).state
    return choose(shipped(), state, shipped().grammar(state.question, gate), found)
