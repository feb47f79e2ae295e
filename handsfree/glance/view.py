"""What the technician sees: one picture of the visit, made from its plan, its state and the notes. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import assert_never

from handsfree.events.decisions import ReadingRecord, at_its_end
from handsfree.events.state import State
from handsfree.gates.kind import Effects
from handsfree.glance.bands import wanted_at
from handsfree.glance.keypad_state import KeypadState, fields_of, here, shown
from handsfree.glance.left import altered, ended, why
from handsfree.glance.notes import Notes
from handsfree.glance.picture import Condition, Glance, HearingStatus, Key, LabelledLine, Seal, ShownValue, TimeBar
from handsfree.lexicon.grammar import UNKNOWN_WORD
from handsfree.lexicon.meaning import NO_READING, OVER_RANGE
from handsfree.questions.keypad import Keypad, NumberField, shown_unit
from handsfree.session.keys import hazards, keypad
from handsfree.session.plan import Plan
from handsfree.session.settling import settle_seconds
from handsfree.session.silence import alarm_at

WAYS_DOWN = ("made-safe", "left-as-reported")
"""How a visit ends that was left off: its own words stand largest, never "finished"."""


def glance(
    plan: Plan,
    state: State,
    now: int,
    notes: Notes,
    *,
    keypad_state: KeypadState | None = None,
    seal: Seal | None = None,
    sound: HearingStatus | None = None,
) -> Glance:
    """Return the picture at a time (ms of the visit)."""
    found, keypad_state = keypad(plan, state), here(state, keypad_state or KeypadState(), now)
    condition = _condition(state)
    return Glance(
        condition=condition,
        banner=_banner(plan, state, condition, seal or Seal()),
        gate=_gate(plan, state),
        headline=_headline(plan, state, now, notes),
        remark=_remark(plan, state, notes),
        values=tuple(_values(plan, state, notes, keypad_state, found)),
        taken=_taken(plan, state),
        bar=_bar(plan, state, now),
        heard=_heard(plan, notes),
        verdict=_verdict(plan, notes),
        altered=altered(plan, state, now),
        seal=_seal(plan, state, seal or Seal()),
        sound=_sound(plan, state, notes, sound or HearingStatus()),
        offers=tuple(offer.label for offer in found.offers),
        answers=_answers(plan, state),
        hazards=hazards(plan) if found.offers else (),
        chosen=keypad_state.chosen,
        typing=keypad_state.words,
        keys=tuple(_keys(plan, state, keypad_state, found)),
    )


def _condition(state: State) -> Condition:
    if state.status == "closed":
        return state.outcome if at_its_end(state.outcome) else "closed"
    if state.status == "stopped":
        return "stopped"
    return "running" if state.held_since is None else "held"


def _banner(plan: Plan, state: State, condition: Condition, seal: Seal) -> str:
    if condition == "closed" and state.outcome in WAYS_DOWN:
        return plan.catalogue.show(f"banner-{state.outcome}")
    if condition != "running":
        return plan.catalogue.show(f"banner-{condition}")
    if seal.failure:
        return plan.catalogue.show("disk-failed")
    if state.alarmed:
        return plan.catalogue.say("answer-now")
    return plan.catalogue.show("deaf") if state.deaf else ""


def _order_stands(state: State) -> bool:
    """Say whether the order of a stop is still to be followed: once steps were begun, a question stands."""
    ordered = state.status == "stopped" and state.question.manner.headline == "script"
    return ordered and (state.halt is None or state.halt.part is None)


def _answers(plan: Plan, state: State) -> int:
    """Return how many offers, the first ones, answer the question at hand; none while an order stands."""
    if _order_stands(state):
        return 0
    if state.status == "closed" or state.held_since is not None or state.gate not in plan.procedure.gates:
        return 0
    own = state.question.keys(plan.scope(state.gate))
    return 0 if own.fields else len(own.offers)


def _gate(plan: Plan, state: State) -> str:
    gates = list(plan.procedure.gates)
    if state.gate not in plan.procedure.gates:
        return ""
    number, of = gates.index(state.gate) + 1, len(gates)
    title = plan.gate(state.gate).gate.title
    return plan.catalogue.show("gate", number=str(number), of=str(of), title=title)


def _headline(plan: Plan, state: State, now: int, notes: Notes) -> str:
    if state.status == "closed":
        return ended(plan, state)
    match state.question.manner.headline:
        case "script":
            return notes.stopped.script if notes.stopped is not None and _order_stands(state) else state.text
        case _ if state.held_since is not None:
            return plan.catalogue.say("hold-on-firing" if plan.gate(state.gate).gate.firing else "hold-on")
        case "countdown":
            return plan.catalogue.show("wait", time=clock(max(0, (state.until or now) - now)))
        case "values":
            return plan.catalogue.show("right")
        case "question":
            return notes.question or state.text
        case headline:
            assert_never(headline)


def _remark(plan: Plan, state: State, notes: Notes) -> str:
    alert = plan.sheets.job.alert
    if state.status == "stopped" and notes.stopped is not None:
        if notes.stopped.why in {"no-answer", "link-lost"} and alert is not None:
            return plan.catalogue.say("call-for", who=alert.who, number=alert.number)
        return why(plan, notes.stopped)
    again = state.attempt > 1 and state.text != notes.question and state.status == "running"
    return state.text if again else ""


def _effects(plan: Plan, state: State) -> Effects:
    """Return what the gate at hand does; nothing where the visit stands at none."""
    return plan.gate(state.gate).gate.effects if state.gate in plan.procedure.gates else Effects()


def _values(
    plan: Plan, state: State, notes: Notes, keypad_state: KeypadState, found: Keypad
) -> Iterator[ShownValue]:
    """Yield the values of the gate at hand, entered or called or accepted; else those taken last."""
    if found.digits:
        yield ShownValue(found.digits, keypad_state.words, "", "", at_hand=True)
        return
    effects = _effects(plan, state)
    fields = fields_of(keypad_state, found)
    entered = dict(zip((one.quantity for one in fields), keypad_state.entries, strict=False))
    at_hand = fields[len(keypad_state.entries) - 1].quantity if fields else ""
    if effects.kept_at and state.status == "running":
        known = {**_counted(plan, state, notes, effects.kept_at), **_called(plan, state)}
        quantities = [ask.quantity for ask in effects.asks]
    else:
        known = {}
        quantities = [one.quantity for one in fields]
    bands = wanted_at(plan, effects.kept_at) if quantities and effects.kept_at else {}
    for quantity in quantities:
        stands, reading = known.get(quantity, ("", None))
        text = _written(plan, reading)
        if entered.get(quantity):
            one = next(one for one in fields if one.quantity == quantity)
            stands, text, reading = plan.catalogue.show("entering"), shown(entered[quantity], one.decimals), None
        unit, wanted = _unit(plan, quantity, reading), bands.get(quantity)
        own, judged = unit == _own_unit(plan, quantity), text
        if not own:  # the band stands in the quantity's own unit, so only the conversion is held against it
            judged = "" if reading is None else reading.value
        yield ShownValue(
            _name(plan, quantity),
            text,
            unit,
            stands,
            at_hand=quantity == at_hand,
            band="" if wanted is None or not own else wanted.written(plan.catalogue.show("aim")),
            outside=wanted is not None and wanted.leaves_out(judged),
        )


def _called(plan: Plan, state: State) -> Mapping[str, tuple[str, ReadingRecord]]:
    """Return the values called and not accepted yet, each with what is still wanted.

    One that is asked for a second time is not shown: the second call is to be independent of the first.
    """
    pending, question = state.pending, state.question
    hidden = question.called(plan.scope(state.gate)) if question.manner.second_call else ()
    stands = {True: plan.catalogue.show("once-more"), False: plan.catalogue.show("called")}
    return {
        quantity: (stands[quantity in pending.doubtful], one)
        for quantity, one in pending.values.items()
        if quantity not in hidden
    }


def _counted(plan: Plan, state: State, notes: Notes, kept_at: str) -> Mapping[str, tuple[str, ReadingRecord]]:
    """Return the values of the set at hand; between two sets those of the last, with how they move."""
    taken = state.sets.get(kept_at, ())
    if not taken or (taken[-1].complete and state.question.manner.awaits != "time"):
        return {}
    found = {}
    for quantity, reading in taken[-1].values.items():
        judged = notes.settling.get(quantity)
        stands = "accepted"
        if judged is not None and taken[-1].complete:
            moves = "falling" if judged.slope.startswith("-") else "rising"
            stands = "settled" if judged.settled else moves
        found[quantity] = (plan.catalogue.show(stands), reading)
    return found


def _last_set(plan: Plan, state: State) -> Mapping[str, ReadingRecord]:
    """Return the set taken last, where it matters: something fires, a screw is turned, or it stopped there."""
    gate = plan.gate(state.gate).gate if state.gate in plan.procedure.gates else None
    if state.status == "stopped" or (state.status == "closed" and not at_its_end(state.outcome)):
        own = state.sets.get(gate.effects.kept_at, ()) if gate is not None and gate.effects.kept_at else ()
        return own[-1].values if own else {}
    if state.status == "running" and gate is not None and not (gate.firing or gate.effects.turns):
        return {}
    taken = [one for sets in state.sets.values() for one in sets if one.complete]
    return max(taken, key=lambda one: one.at).values if taken else {}


def _name(plan: Plan, quantity: str) -> str:
    known = plan.catalogue.quantities.get(quantity)
    return plan.catalogue.show("time") if known is None else known.said


def _own_unit(plan: Plan, quantity: str) -> str:
    """Return the unit that a quantity is kept in, as it is printed."""
    known = plan.catalogue.quantities.get(quantity)
    code = "s" if known is None else known.unit
    return plan.catalogue.glance.units.get(code, code)


def _unit(plan: Plan, quantity: str, reading: ReadingRecord | None = None) -> str:
    """Return the unit as it is printed on instruments: that of a reading, else the one that will be shown."""
    known = plan.catalogue.quantities.get(quantity)
    if reading is not None:
        code = reading.shown[1]
    else:
        code = "s" if known is None else shown_unit(known, plan.sheets.shows())
    return plan.catalogue.glance.units.get(code, code)


def _written(plan: Plan, reading: ReadingRecord | None) -> str:
    if reading is None:
        return ""
    names = {OVER_RANGE: "over-range", NO_READING: "no-reading"}
    return plan.catalogue.answers[names[reading.value]][0] if reading.value in names else reading.shown[0]


def _taken(plan: Plan, state: State) -> str:
    """Return how many sets are taken, of how many; at a gate that takes none, the set taken last."""
    effects = _effects(plan, state)
    if effects.kept_at and state.status == "running":
        settle = effects.settle
        if settle is None:
            return ""
        number, most, least = len(state.readings(effects.kept_at)), settle.most_sets, settle.sets
        return plan.catalogue.show("sets", number=str(number), least=str(least), most=str(most))
    last = _last_set(plan, state)
    values = "   ".join(f"{_name(plan, q)} {_written(plan, one)} {_unit(plan, q, one)}" for q, one in last.items())
    return plan.catalogue.show("last-set", values=values) if last else ""


def clock(milliseconds: int) -> str:
    """Return a time that is left, in minutes and seconds, no sooner at nothing than it is."""
    seconds = -(-milliseconds // 1000)
    return f"{seconds // 60}:{seconds % 60:02d}"


def _bar(plan: Plan, state: State, now: int) -> TimeBar | None:
    """Return the wait for the next set, else how long a firing gate still waits for an answer."""
    if state.status != "running" or state.gate not in plan.procedure.gates or state.held_since is not None:
        return None
    gate = plan.gate(state.gate).gate
    manner = state.question.manner
    if manner.awaits == "time" and state.until is not None:
        settle = gate.effects.settle
        label, total = "readings-in", state.until - state.asked_at
        if settle is not None:
            again = bool(state.readings(gate.effects.kept_at))
            total = 1000 * (settle.interval_seconds if again else settle_seconds(plan, settle))
        elif gate.effects.waits_seconds is not None:
            label, total = "time-left", 1000 * gate.effects.waits_seconds
        return TimeBar(plan.catalogue.show(label), max(0, state.until - now), total)
    if gate.firing and not state.speaking:
        left = alarm_at(plan, state) - now
        patience = alarm_at(plan, state) - state.silent_since
        return TimeBar(plan.catalogue.show("stops" if left <= 0 else "answer-within"), max(0, left), patience)
    return None


def _heard(plan: Plan, notes: Notes) -> LabelledLine:
    heard, show = notes.heard, plan.catalogue.show
    if heard is None:
        return LabelledLine(show("heard"), show("nothing-yet"))
    label = show("typed" if heard.typed else "heard")
    unclear = show("nothing-clear")
    words = heard.words.replace(UNKNOWN_WORD, unclear) or unclear
    if not heard.understood:
        return LabelledLine(label, show("not-understood", words=words, why=heard.why), alarming=True)
    taken = heard.meaning if heard.meaning and heard.meaning != words else show("taken")
    doubt = show("in-doubt", why=heard.why) if heard.why else ""
    return LabelledLine(label, show("understood", words=words, taken=taken) + doubt)


def _verdict(plan: Plan, notes: Notes) -> LabelledLine:
    label, verdict = plan.catalogue.show("verdict"), notes.verdict
    if verdict is None:
        return LabelledLine(label, plan.catalogue.show("none-yet"))
    sentence, outcome = verdict.sentence.partition(" (")[0], verdict.outcome.replace("-", " ")
    if verdict.demonstrated and outcome not in sentence:
        sentence = f"{sentence}: {outcome}"
    return LabelledLine(label, sentence, alarming=verdict.outcome != "within")


def _seal(plan: Plan, state: State, seal: Seal) -> LabelledLine:
    label, show = plan.catalogue.show("record"), plan.catalogue.show
    if seal.failure:
        return LabelledLine(label, show("record-failed", why=seal.failure), alarming=True)
    stands = "recorded" if state.status == "closed" else "recording"
    return LabelledLine(label, show(stands, entries=str(seal.entries), checksum=seal.checksum))


LITTLE_DB, LEAST_DB = 15.0, 10.0
"""Voice over noise: from the first on it is heard well, below the second with errors (hearing/sound_check.py)."""


def _sound(plan: Plan, state: State, notes: Notes, sound: HearingStatus) -> LabelledLine:
    """Return the state of hearing: lost devices first, then the last voice, then what was noticed."""
    show = plan.catalogue.show
    parts, alarming = [], bool(state.lost)
    if state.lost:
        names = (plan.catalogue.glance.devices.get(name, name) for name in sorted(state.lost))
        parts.append(show("lost-ears" if state.deaf else "lost", devices=", ".join(names)))
    elif not sound.listening:
        parts.append(show("keys-alone"))
    elif sound.voice_db is None:
        parts.append(show("listening"))
        parts += [] if sound.noise_db is None else [show("noise", decibels=f"{sound.noise_db:.0f}")]
    else:
        grade = "good" if sound.voice_db >= LITTLE_DB else "noisy" if sound.voice_db >= LEAST_DB else "too-noisy"
        parts.append(show("voice", decibels=f"{sound.voice_db:.0f}", grade=show(grade)))
        alarming = alarming or grade == "too-noisy"
    if notes.poor is not None:
        parts.append(plan.catalogue.say(f"sound-{notes.poor.fault}"))
        parts.append(show("noise", decibels=f"{notes.poor.noise_db:f}"))
        alarming = True
    if notes.heard is not None and notes.heard.clipped:
        parts.append(show("clipped"))
    if notes.heard is not None and notes.heard.overflow:
        parts.append(show("overflow"))
    if sound.trouble:
        parts.append(sound.trouble)
    return LabelledLine(show("ears"), "  ".join(parts), alarming)


def _keys(plan: Plan, state: State, keypad_state: KeypadState, found: Keypad) -> Iterator[Key]:
    """Yield the keys that do something now, the most wanted first."""
    show = plan.catalogue.show
    fields = fields_of(keypad_state, found)
    if keypad_state.chosen is not None:
        yield Key(show("key-enter"), found.offers[keypad_state.chosen].label)
    elif keypad_state.words:
        yield Key(show("key-enter"), show("sends", what=keypad_state.words))
    elif fields and any(keypad_state.entries):
        last = len(keypad_state.entries) == len(fields) or not keypad_state.entries[-1]
        yield Key(show("key-enter"), _entered(keypad_state, fields) if last else show("next-value"))
    elif found.plain:
        patient = found.patient
        yield Key(show("key-enter"), show("again-plain", what=found.plain) if patient else found.plain)
    number = fields[len(keypad_state.entries) - 1].name if fields else found.digits
    if number:
        yield Key(show("key-digits"), number)
    if keypad_state.words or keypad_state.chosen is not None or any(keypad_state.entries):
        yield Key(show("key-left"), show("takes-back"))
    elif found.no:
        yield Key(show("key-left"), found.no)
    yield from _arrows(plan, state, keypad_state, found)
    if state.status == "running":
        yield Key(
            show("key-stop"),
            show("stops-work", done=str(len(keypad_state.stops))) if keypad_state.stops else show("stop"),
        )


def _arrows(plan: Plan, state: State, keypad_state: KeypadState, found: Keypad) -> Iterator[Key]:
    """Yield what the arrows mark: answers, and from no mark the gravest hazard, unless its order stands."""
    show, names = plan.catalogue.show, hazards(plan)
    if found.offers:
        yield Key(show("key-arrows"), show("other-answers", count=str(len(found.offers) - len(names))))
    called = () if state.halt is None else state.halt.hazards
    if found.offers and keypad_state.chosen is None and names[-1] not in called:
        yield Key(show("key-hazards"), show("gravest", hazard=found.offers[-1].label))


def _entered(keypad_state: KeypadState, fields: tuple[NumberField, ...]) -> str:
    return "  ".join(
        shown(entry, one.decimals) for one, entry in zip(fields, keypad_state.entries, strict=False) if entry
    )
