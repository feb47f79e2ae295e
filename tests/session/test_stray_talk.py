"""What stray talk cannot do: put a thing back on the record, or finish the visit. Both need a read-back."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from rehearsed import at, hear, of_kind, places, shipped

from handsfree.events import decisions as ev
from handsfree.session.rehearsal import Rehearsal

READ_BACKS = {"thing-check", "done-check", "finish-check"}
ANYWHERE = [key for key in places() if key[0] and key[1] not in READ_BACKS]
STATES = sorted({word for thing in shipped().things.values() for word in (thing.restored, thing.altered)})
WORDS = [
    *STATES,
    *(text for texts in shipped().catalogue.answers.values() for text in texts),
    *(text for texts in shipped().catalogue.everywhere.values() for text in texts),
    "zero", "one two", "one point five", "[unk]",
]  # fmt: skip


def restored(events: tuple[ev.Decision, ...]) -> list[str]:
    return [event.thing for event in of_kind(events, ev.Restored)]


@pytest.mark.parametrize("place", ANYWHERE, ids="/".join)
def test_no_single_utterance_restores_or_finishes_anything(place: tuple[str, str]) -> None:
    """At each question of the visit: every answer, state and command of the catalogue, heard without doubt."""
    for words in WORDS:
        visit = at(*place)
        events = hear(visit, words)
        assert restored(events) == [], words
        assert not of_kind(events, ev.VisitClosed), words


@pytest.mark.parametrize("place", [key for key in places() if key[1] in READ_BACKS], ids="/".join)
def test_after_a_read_back_only_its_confirmation_restores_or_finishes(place: tuple[str, str]) -> None:
    affirm = set(shipped().catalogue.answers["affirm"])
    for words in WORDS:
        if words not in affirm:
            visit = at(*place)
            events = hear(visit, words)
            assert restored(events) == [], words
            assert not of_kind(events, ev.VisitClosed), words


def rechecks() -> Iterator[tuple[Rehearsal, str]]:
    """The visit interrupted at its putting back, at the recheck of each thing that has no value."""
    visit = at("put-back", "put-back")
    visit.resume()
    while visit.state.rechecks:
        item = visit.state.rechecks[0]
        thing = shipped().things.get(item)
        if thing is not None and thing.value is None:
            yield visit, item
        else:
            visit.say("still firing" if item == "burner" else shipped().things[item].altered)


def test_a_thing_found_restored_after_an_interruption_is_read_back_first() -> None:
    """A stray word there restores nothing; denied, it is asked again; confirmed, it is restored."""
    seen = 0
    for visit, item in rechecks():
        events = hear(visit, shipped().things[item].restored)
        assert restored(events) == []
        assert visit.state.question.kind == "thing-check"
        assert item in visit.state.altered
        hear(visit, "no")
        assert (visit.state.question.kind, visit.state.rechecks[0]) == ("recheck-thing", item)
        hear(visit, shipped().things[item].restored)
        assert restored(hear(visit, "confirmed")) == [item]
        assert item not in visit.state.rechecks
        seen += 1
    assert seen
