"""After a crash, a long hold or a stop: what runs, the rate and every altered thing are asked again."""

from __future__ import annotations

from collections.abc import Iterable

from handsfree.events import decisions as ev
from handsfree.gates.outcomes import DROPPED_BACK
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import Answer, Meaning
from handsfree.questions.rate import CallRate
from handsfree.questions.recheck_thing import RecheckThing
from handsfree.questions.still_firing import StillFiring
from handsfree.session.draft import Draft
from handsfree.session.putting_back import read_back_restored

RATE = "rate"
"""An item of a recheck that is no thing, as is what the trade says is running."""


def recheck(
    draft: Draft, *, untouched: bool = False, cry: bool = False, things: Iterable[str] | None = None
) -> None:
    """After a crash, a long hold or a stop: ask again what runs, the rate and every altered thing, or `things`.

    After a hold, and after a cry that was none, nobody has laid a hand on things (`untouched`): only what runs is
    asked then. After a hold with its rate; after a cry the rate is called with the next values anyway.
    """
    effects = draft.gate.effects
    running = draft.plan.trade.running
    lit = draft.gate.firing and not draft.state.owed  # what must be lit again is off, and holds no rate
    items = [running.asked_again] if running is not None and lit else []
    cried = cry and bool(items)
    items += [RATE] if effects.rate is not None and not draft.state.owed and not cried else []
    items += [] if untouched or cried else list(draft.state.altered if things is None else things)
    draft.emit(ev.RecheckBegun(at=draft.at, items=tuple(items)))
    if effects.kept_at and (effects.kept_at in draft.state.sets or draft.state.pending.values):
        draft.emit(ev.SetVoided(kept_at=effects.kept_at, why="settle clocks start afresh"))
    if items and not (untouched or cried):
        draft.say("recheck-start")
    _next_recheck(draft)


def _next_recheck(draft: Draft) -> None:
    if not draft.state.rechecks:
        _rechecked_all(draft)
        return
    item = draft.state.rechecks[0]
    if item == RATE and draft.state.rate_lost:
        rechecked(draft, "lost")
    elif item not in draft.things and item != RATE:
        _ask_what_runs(draft, item)
    elif item == RATE:
        draft.ask(CallRate(recheck=True), draft.words("rate-called"))
    else:
        said = sentence_case(draft.things[item].said)
        draft.ask(RecheckThing(thing=item), draft.words("recheck-thing", thing=said))


def _ask_what_runs(draft: Draft, item: str) -> None:
    """Ask what runs; where that and the rate are all that is asked, in one question."""
    rate = draft.gate.effects.rate if draft.state.rechecks == (item, RATE) else None
    if rate is None:
        draft.ask(StillFiring(), draft.words(f"recheck-{item}"))
    else:
        said = draft.catalogue.rates[rate][0]
        draft.ask(StillFiring(rate=rate), draft.words(f"recheck-{item}-rate", rate=said))


def rechecked(draft: Draft, answer: str) -> None:
    """Take one answer of a recheck; a setting said to be restored stays altered until its value proves it."""
    item = draft.state.rechecks[0]
    question = draft.state.question
    if isinstance(question, StillFiring) and question.rate is not None and answer != "off":
        draft.emit(ev.Rechecked(item=item, answer="firing"))
        draft.emit(ev.Rechecked(item=RATE, answer="lost" if answer == "dropped-back" else question.rate))
        _next_recheck(draft)
        return
    thing = draft.things.get(item)
    if thing is not None and thing.value is None and answer == "restored":
        read_back_restored(draft, item)
        return
    draft.emit(ev.Rechecked(item=item, answer=answer))
    running = draft.plan.trade.running
    if running is not None and item == running.asked_again and answer == "off":
        draft.owe(running.goes_out, cause=False)
    _next_recheck(draft)


def recheck_read_back(draft: Draft, meaning: Meaning) -> bool:
    """Take the answer to the read-back of a thing that a recheck found restored; False when it is none."""
    if not isinstance(meaning, Answer):
        return False
    item = draft.state.rechecks[0]
    if meaning.name == "affirm":
        draft.emit(ev.Rechecked(item=item, answer="restored"))
        draft.emit(ev.Restored(at=draft.at, thing=item, gate=draft.state.gate))
    _next_recheck(draft)
    return True


def _rechecked_all(draft: Draft) -> None:
    """Go on where the visit was; with it off or the rate lost, where the rate was last held."""
    lost = draft.state.rate_lost
    if lost and DROPPED_BACK in draft.transitions:
        draft.lose_rate(lost)
        return
    held = [gate_id for gate_id in draft.asked if gate_id in draft.plan.holds] if lost else []
    if held and draft.plan.held_by_hand(draft.state.altered):
        draft.go_back(held[-1])
    else:
        draft.open()
