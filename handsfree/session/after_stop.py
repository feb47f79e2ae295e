"""After a stop: outside first, then back in step by step, or left off. No reason alone leads on.

The trade says which steps follow which stop (`hazards.yaml`); what is answered is a person's report. The steps
that are owed before anything fires are asked where something would fire next (`Draft.open`).
"""

from __future__ import annotations

from decimal import Decimal

from handsfree.events import decisions as ev
from handsfree.events.state import Halt
from handsfree.gates.visit import Understanding, said_back
from handsfree.lexicon.catalogue import sentence_case
from handsfree.lexicon.meaning import TOLD, Answer, Command, Meaning, Values
from handsfree.lexicon.stops import Step
from handsfree.questions.close_check import CloseCheck
from handsfree.questions.outside import Outside
from handsfree.questions.stop_reading import StopReading
from handsfree.questions.stop_step import StopStep
from handsfree.questions.stop_talk import StopTalk
from handsfree.questions.stop_thing import StopThing
from handsfree.questions.stopped import AfterStop
from handsfree.session.draft import Draft
from handsfree.session.rechecking import recheck
from handsfree.session.stops import called


def answered(draft: Draft, meaning: Meaning, utterance: Understanding) -> None:
    """Take the answer to the question at hand; whatever is none has it asked again."""
    question = draft.state.question
    taken = False
    if meaning == Command("that-was-wrong"):
        taken = _taken_back(draft)
    elif isinstance(question, Outside):
        taken = _outside(draft, meaning)
    elif isinstance(question, AfterStop):
        taken = _way_chosen(draft, question, meaning)
    elif isinstance(question, StopStep):
        taken = _step(draft, question, meaning)
    elif isinstance(question, StopReading):
        taken = _reading(draft, question, meaning, utterance)
    elif isinstance(question, StopTalk):
        taken = _talk(draft, question, meaning, utterance)
    elif isinstance(question, StopThing):
        taken = _thing(draft, question, meaning)
    elif isinstance(question, CloseCheck):
        taken = _close(draft, meaning)
    if not taken:
        repeat(draft)


def repeat(draft: Draft) -> None:
    """Ask the question at hand again: to those who leave, the order itself."""
    question, halt = draft.state.question, _halt(draft)
    if isinstance(question, Outside):
        draft.ask(question, halt.script)
    elif isinstance(question, AfterStop):
        draft.ask(question, _how_on(draft, halt))
    elif halt.left:
        draft.ask_step()
    else:
        draft.ask(question, draft.state.text)


def _halt(draft: Draft) -> Halt:
    halt = draft.state.halt
    assert halt is not None
    return halt


def _how_on(draft: Draft, halt: Halt) -> str:
    """Return the ways that are open, as they are said."""
    if halt.ways == ("close",):
        return draft.words("leave-it-off")
    if halt.people == "leave":
        return draft.words("how-on-outside")
    return draft.words("how-on-misheard" if "misheard" in halt.ways else "how-on")


def _outside(draft: Draft, meaning: Meaning) -> bool:
    if meaning != Answer("outside"):
        return False
    _walk(draft, "outside", draft.catalogue.stops.outside)
    return True


def _way_chosen(draft: Draft, question: AfterStop, meaning: Meaning) -> bool:
    facts, halt = draft.catalogue.stops, _halt(draft)
    if not isinstance(meaning, Answer):
        return False
    if meaning.name in {"false-stop", "misheard"} and draft.state.speaking:
        return False  # nobody undoes an order that was not heard to its end
    match meaning.name:
        case "false-stop" if "false-stop" in question.ways:
            _back(draft, "false-stop")
        case "misheard" if "misheard" in question.ways:
            _walk(draft, "re-entry", facts.misheard(halt.hazards), "misheard")
        case "put-right" if "put-right" in question.ways:
            _walk(draft, "re-entry", facts.re_entry(halt.hazards))
        case "close" if "close" in question.ways:
            draft.go_down()
        case _:
            return False
    return True


def _taken_back(draft: Draft) -> bool:
    """Ask the last step again; a thing that was said to be put back is altered as before."""
    before = _halt(draft).before
    if before is None:
        return False
    thing = before.things[0] if before.things and draft.catalogue.stops.steps[before.left[0]].things else None
    draft.emit(ev.StepTakenBack(at=draft.at, step=before.left[0], thing=thing))
    if thing is not None and thing not in draft.state.altered:
        draft.emit(ev.Altered(at=draft.at, thing=thing, gate=draft.state.gate))
    draft.ask_step()
    return True


def _close(draft: Draft, meaning: Meaning) -> bool:
    if not isinstance(meaning, Answer):
        return False
    if meaning.name == "affirm":
        if draft.state.altered:
            draft.say("still-altered", things=", ".join(draft.things[one].said for one in draft.state.altered))
        draft.close("left-as-reported" if _halt(draft).stays_open else "made-safe")
    else:
        halt = _halt(draft)
        draft.ask(AfterStop(ways=halt.ways or ("close",)), _how_on(draft, halt))
    return True


def _walk(draft: Draft, part: ev.StepsPart, steps: tuple[str, ...], how: ev.ReEntry = "walked") -> None:
    draft.emit(ev.StepsBegun(at=draft.at, part=part, steps=steps, how=how))
    _next(draft)


def _next(draft: Draft) -> None:
    """Ask the next step, or go on where the last one leads."""
    halt = _halt(draft)
    if halt.left:
        draft.ask_step()
        return
    match halt.part:
        case "outside":
            draft.ask(AfterStop(ways=halt.ways), _how_on(draft, halt))
        case "re-entry":
            _back(draft, halt.how)
        case "relight":
            draft.emit(ev.ReEntered(at=draft.at, gate=draft.state.gate, how="relit"))
            draft.open()
        case "way-down":
            draft.ask(CloseCheck(), draft.words("close-check"))
        case None:
            repeat(draft)


def _back(draft: Draft, how: ev.ReEntry) -> None:
    """Go on with the work; what must be walked before anything fires stays owed.

    A bare cry that was none, or a value read wrong, put nothing out by itself: what runs is asked. After a cry
    that was none nobody laid a hand on anything, so where nothing runs nothing is asked. But who stood under the
    order for minutes may have begun to obey it: then the rate is asked, too, and what is put back at a stop.
    """
    facts, halt = draft.catalogue.stops, _halt(draft)
    lit_again = how == "walked" or halt.people == "leave"
    owed = (*draft.state.owed, *(facts.relight(halt.hazards) if lit_again else ()))
    gate = _goes_on_at(draft)
    draft.emit(ev.ReEntered(at=draft.at, gate=gate, how=how, owed=tuple(dict.fromkeys(owed))))
    if lit_again:
        recheck(draft)
    elif draft.state.old_before == draft.at:  # the stop lasted for minutes
        recheck(draft, things=draft.plan.put_back_when_stopped(draft.state.altered)[::-1])
    else:
        recheck(draft, cry=True, untouched=how == "false-stop")


def _goes_on_at(draft: Draft) -> str:
    """Return where a stopped visit goes on: where something was asked last, not at a stop gate.

    A gate that was not asked is not opened here, whatever its conditions. Where nothing was asked at all, nothing
    but the stop gate is left, and it stops again.
    """
    if draft.gate.effects.end != "stop":
        return draft.state.gate
    asked = [gate_id for gate_id in draft.asked if not draft.plan.gate(gate_id).gate.effects.judges]
    return asked[-1] if asked else draft.state.gate


def _step(draft: Draft, question: StopStep, meaning: Meaning) -> bool:
    step = draft.catalogue.stops.steps[question.step]
    if not isinstance(meaning, Answer) or meaning.name not in step.answers:
        return False
    name = meaning.name
    if name in (*step.on, *step.open):
        stays_open = name in step.open
        draft.emit(
            ev.StepReported(at=draft.at, step=question.step, answer=name, leads="on", stays_open=stays_open)
        )
        _next(draft)
    elif name in step.again:
        draft.emit(ev.StepReported(at=draft.at, step=question.step, answer=name, leads="again"))
        draft.ask_step()
    else:
        draft.emit(ev.StepReported(at=draft.at, step=question.step, answer=name, leads="off"))
        halt = _halt(draft)
        draft.ask(AfterStop(ways=halt.ways), _how_on(draft, halt))
    return True


def _thing(draft: Draft, question: StopThing, meaning: Meaning) -> bool:
    """Take the state of a thing as reported; one that is reported put back counts as put back."""
    if not isinstance(meaning, Answer):
        return False
    name, restored = question.thing, meaning.name == "restored"
    last = _halt(draft).things == (name,)
    draft.emit(
        ev.StepReported(
            at=draft.at,
            step=question.step,
            answer=meaning.name,
            leads="on" if last else "more",
            stays_open=not restored,
            thing=name,
        )
    )
    if restored:
        draft.emit(ev.Restored(at=draft.at, thing=name, gate=draft.state.gate))
    _next(draft)
    return True


def _talk(draft: Draft, question: StopTalk, meaning: Meaning, utterance: Understanding) -> bool:
    if meaning != Answer(TOLD):
        return False
    draft.emit(
        ev.StepReported(
            at=draft.at,
            step=question.step,
            answer=TOLD,
            leads="on",
            text=utterance.text,
            sound=utterance.sound,
        )
    )
    said_back(draft, utterance)
    _next(draft)
    return True


def _reading(draft: Draft, question: StopReading, meaning: Meaning, utterance: Understanding) -> bool:
    """Take a value read off a display; one beyond a stop limit stops anew, with its own order."""
    if not isinstance(meaning, Values) or utterance.doubt:
        return False
    step, value = draft.catalogue.stops.steps[question.step], dict(meaning.values).get(question.quantity)
    if value is None:
        return False
    record = draft.record_of(question.quantity, value)
    leads = _read_off(draft, step) if step.as_called else _read_below(draft, step, record)
    draft.emit(ev.StepReported(at=draft.at, step=question.step, answer=record.value, leads=leads, reading=record))
    again = {**_halt(draft).read} if step.as_called else {question.quantity: record}
    if (leads != "more" or not step.as_called) and draft.stop_if_beyond(again):
        return True
    if leads == "again":
        draft.say("not-below", what=sentence_case(draft.name(question.quantity)), value=record.value)
    _next(draft)
    return True


def _read_off(draft: Draft, step: Step) -> ev.Leads:
    """Return where one more of the values leads that were called when the work stopped."""
    del step
    halt = _halt(draft)
    return "on" if len(halt.read) + 1 >= len(halt.called) else "more"


def _read_below(draft: Draft, step: Step, record: ev.ReadingRecord) -> ev.Leads:
    """Return where a value leads that must lie below a limit, so many times in a row."""
    value = called(record)
    if not isinstance(value, Decimal) or step.below is None or value >= step.below:
        return "again"
    return "on" if _halt(draft).taken + 1 >= step.times else "more"
