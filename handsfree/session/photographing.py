"""A photo that came, and one that will not: what is said, and what is kept of the reason."""

from __future__ import annotations

from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.events.state import State
from handsfree.gates.visit import Understanding
from handsfree.session.draft import Draft
from handsfree.session.photos import wanted


def taken(draft: Draft, event: inp.PhotoTaken, before: State) -> None:
    """Say that a photo was taken, or that it was not the moment for one."""
    if event.gate in wanted(draft.plan, before):
        draft.say("photo-taken")
    elif draft.state.status == "running":
        draft.say("photo-later")


def declined(draft: Draft, utterance: Understanding) -> None:
    """Keep why the photo wanted last will not be taken."""
    open_here = [gate for gate in wanted(draft.plan, draft.state) if gate not in draft.state.photos]
    if not open_here:
        draft.say("not-possible")
    else:
        draft.emit(ev.NoPhoto(at=draft.at, gate=open_here[0], reason=utterance.text, sound=utterance.sound))
        draft.say("no-photo")
    draft.ask_again()
