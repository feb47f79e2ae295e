"""Who said what: the talk of a visit line by line, with what was heard, how sure, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal

from handsfree.desk import forms, wording
from handsfree.desk.carried_in import change_told
from handsfree.desk.ending import why_stopped
from handsfree.desk.record import Recorded, RecordedStep
from handsfree.desk.witness import differs
from handsfree.events import decisions as ev
from handsfree.events import inputs as inp
from handsfree.gates.outcomes import NOT_ASKED
from handsfree.lexicon.catalogue import sentence_case
from handsfree.session.how_sure import how_sure

LOW_CONFIDENCE = Decimal("0.75")
"""What is likelier to be wrong than this is pointed out; it orders attention and decides nothing (no source)."""


@dataclass
class TranscriptLine:
    """One line of the talk, or one thing that happened between lines.

    `who` is "tool", "person" or "event"; `notes` are what came of it; `flags` mark it for filters.
    """

    seq: int
    at: int
    wall: str
    who: str
    text: str
    gate: str = ""
    sound: str | None = None
    sound_there: bool = False
    lasts: int = 0
    """How long the sound lasts, ms."""
    confidence: str = ""
    alternatives: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    flags: set[str] = field(default_factory=set)


def lines(recorded: Recorded) -> list[TranscriptLine]:
    """Return the talk of the whole visit in order."""
    return _Talk(recorded).told()


class _Talk:
    def __init__(self, recorded: Recorded) -> None:
        self._recorded = recorded
        self._lines: list[TranscriptLine] = []
        self._gate = ""

    def told(self) -> list[TranscriptLine]:
        for step in self._recorded.steps:
            if step.event is not None:
                self._tell(step)
        return self._lines

    def _tell(self, step: RecordedStep) -> None:
        match step.event:
            case ev.GateEntered(gate=gate):
                self._gate = gate
            case ev.Said(text=text) | ev.Asked(text=text):
                if text:
                    self._add(step, "tool", text)
            case inp.Heard() as heard:
                self._heard(step, heard)
            case inp.Typed(text=text):
                self._add(step, "person", text).notes.append("typed")
            case _:
                self._came(step)

    def _heard(self, step: RecordedStep, heard: inp.Heard) -> None:
        best = heard.alternatives[0] if heard.alternatives else None
        line = self._add(step, "person", " ".join(best.text) if best else "(nothing made out)")
        line.at = heard.started
        if heard.general is not None and heard.general.words is not None:
            line.text = heard.general.text
            line.notes.append("machine-written")
        line.sound, line.sound_there = heard.sound, heard.sound in self._recorded.sounds
        line.lasts = heard.ended - heard.started
        if best:
            sure = how_sure(heard)
            if sure is None:  # free words, or none of ours: only the lattice knows
                sure = min(word.confidence for word in best.words)
            line.confidence = f"{sure:.2f}"
            line.alternatives = [" ".join(other.text) for other in heard.alternatives[1:]]
            if sure < LOW_CONFIDENCE:
                line.flags.add("unsure")
        odd = (
            ("sound was lost in it", heard.overflow),
            ("clipped", heard.clipped),
            ("over the tool's voice", heard.over_voice),
        )
        for words, is_so in odd:
            if is_so:
                line.notes.append(words)
                line.flags.add("unsure")

    def _came(self, step: RecordedStep) -> None:
        """Note what came of the last line, or tell an event as a line of its own."""
        match step.event:
            case ev.Understood(meaning=meaning, doubt=doubt):
                self._note(f"understood: {meaning}")
                if doubt:
                    self._note(f"doubt: {doubt}", "unsure")
            case ev.NotUnderstood(why=why):
                self._note(f"not understood: {why}", "unsure")
            case ev.ReadingAccepted(reading=reading, how=how):
                words = (
                    f"{wording.quantity(reading.quantity)} {wording.value(reading)} accepted, {wording.HOW[how]}"
                )
                self._note(words, "reading")
            case ev.ReadingCorrected(was=was, now=now):
                named = wording.quantity(was.quantity)
                self._note(f"{named} corrected from {wording.value(was)} to {wording.value(now)}", "edit")
            case ev.ReadingRefused(reading=reading, why=why):
                self._note(
                    f"{wording.quantity(reading.quantity)} {wording.value(reading)} not taken: {why}", "edit"
                )
            case ev.InstrumentCompared() as compared:
                says = "agrees with the instrument" if compared.agrees else "differs"
                self._note(f"{says}: {differs(compared)}", None if compared.agrees else "odd")
            case ev.PairDoubted(reason=reason):
                self._note(f"pair doubted: {reason}", "unsure")
            case _:
                self._happened(step)

    def _happened(self, step: RecordedStep) -> None:
        told = happening(self._recorded, step)
        if told:
            words, flag = told
            self._add(step, "event", words).flags.add(flag)

    def _add(self, step: RecordedStep, who: str, text: str) -> TranscriptLine:
        line = TranscriptLine(step.seq, step.at, step.wall, who, text, self._gate)
        self._lines.append(line)
        return line

    def _note(self, words: str, flag: str | None = None) -> None:
        if self._lines:
            self._lines[-1].notes.append(words)
            if flag:
                self._lines[-1].flags.add(flag)


def happening(recorded: Recorded, step: RecordedStep) -> tuple[str, str] | None:  # noqa: C901, PLR0911, PLR0912 - one case a kind
    """Return an event in words with the flag it bears, or None for one that is no happening of its own."""
    match step.event:
        case ev.Altered(thing=thing):
            return f"{recorded.thing_named(thing)} {recorded.thing_state(thing, altered=True)}", "thing"
        case ev.Restored(thing=thing, reading=reading):
            value = f", {wording.value(reading)}" if reading else ""
            return f"{recorded.thing_named(thing)} {recorded.thing_state(thing, altered=False)}{value}", "thing"
        case ev.VerdictGiven(sentence=sentence, outcome=outcome):
            return f"Judged: {sentence}", "good" if outcome == "within" else "odd"
        case ev.Advised(adjuster=adjuster, direction=direction, eighths=eighths, reason=reason):
            step_said = f"{adjuster} {direction}, {wording.turn(eighths)}" if eighths else "no turn"
            return f"Advised: {step_said} ({reason})", "turn"
        case ev.TurnCalled(direction=direction, eighths=eighths, unlike=unlike):
            return f"Called, to be said again: {direction}, {wording.turn(eighths)}, {unlike}", "odd"
        case ev.ScrewNamed(rate=rate):
            return f"Adjuster named: {_screw(rate)}", "turn"
        case ev.TurnWatched(reading=reading):
            return f"Right after that turn: {wording.quantity(reading.quantity)} {wording.value(reading)}", "turn"
        case ev.Turned(direction=direction, eighths=eighths, rate=rate, unlike=unlike, undoes=undoes):
            turned = turn_told(rate, direction, eighths, undoes=undoes)
            return (f"{turned}, {unlike}: to be undone", "odd") if unlike else (turned, "turn")
        case ev.LastTimeTold(compared=compared):
            odd = any(one.unusual for one in compared)
            return f"Last time: {'; '.join(map(change_told, compared))}", "odd" if odd else "note"
        case ev.SetVoided(kept_at=kept_at, why=why):
            return f"Readings of {wording.plain(kept_at)} no longer count: {why}", "edit"
        case ev.NotDone(gate=gate, reason=reason):
            return f"Not done: {recorded.gate_title(gate)} ({wording.reason(reason)})", "odd"
        case ev.NoPhoto(gate=gate, reason=reason):
            return f"No photo: {recorded.gate_title(gate)} ({wording.reason(reason)})", "note"
        case inp.PhotoTaken(gate=gate):
            return f"Photo taken: {recorded.gate_title(gate)}", "note"
        case ev.GatePassed(gate=gate, outcome=outcome) if outcome == NOT_ASKED:
            return f"Not asked: {recorded.gate_title(gate)} ({recorded.passed_over[step.seq]})", "edit"
        case ev.Noted(text=text, answer=answer) if answer:
            return f"{sentence_case(answer)}: {text or 'kept as sound'}", "note"
        case ev.Noted(text=text):
            return f"Note: {text or 'kept as sound'}", "note"
        case ev.AnsweredBy(role=role, name=name):
            return f"Answered by the {role}{f', {name}' if name else ''}", "note"
        case ev.Alerted(who=who, number=number):
            return f"Nobody answered: {who} to be told, {number}", "odd"
        case ev.Stopped() as stop:
            return f"Stopped: {why_stopped(recorded, stop)}", "odd"
        case ev.StepsBegun(part=part):
            return f"Steps after the stop: {wording.PARTS[part]}", ""
        case ev.StepReported(step=asked, answer=answer, text=text):
            return f"Reported, {wording.plain(asked)}: {text or wording.plain(answer)}", ""
        case ev.StepTakenBack(step=asked):
            return f"Called wrong, asked again: {wording.plain(asked)}", "edit"
        case ev.StepsOwed(steps=steps):
            return f"Before anything fires: {', '.join(wording.plain(one) for one in steps)}", ""
        case ev.ReEntered(how=how):
            return f"The work goes on after the stop: {wording.RE_ENTRY[how]}", "odd"
        case ev.Cleared(reason=reason):
            return f"The person says it is cleared: {reason or 'kept as sound'}", "odd"
        case ev.WentBack(gate=gate, to=to):
            return f"Went back from {recorded.gate_title(gate)} to {recorded.gate_title(to)}", "edit"
        case ev.Held():
            return "On hold", "edit"
        case ev.CarriedOn():
            return "Carried on", "edit"
        case inp.DeviceLost(device=device):
            return f"Lost: {device}", "odd"
        case inp.DeviceFound(device=device):
            return f"Back: {device}", "edit"
        case inp.Resumed(program=program, approval_fault=fault, enrolled=enrolled):
            gone = f"; the approval of its procedure no longer holds: {fault}" if fault else ""
            own = "; heard with the technician's enrolment" if enrolled else ""
            return f"Resumed after an interruption, by {program}{own}{gone}", "odd"
        case ev.VisitClosed(outcome="incomplete") as closed:
            return f"Visit closed, left incomplete: {wording.lacking(closed.lacking)}", "odd"
        case ev.VisitClosed(outcome=outcome):
            return f"Visit closed: {wording.ended(outcome).lower()}", "good" if outcome == "finished" else "odd"
        case _:
            told = forms.happenings().get(step.kind)
            return (told, "odd") if told else None


def turn_told(rate: str, direction: str, eighths: int, *, undoes: bool) -> str:
    """Return a turn of an adjuster in words."""
    return f"{'Turned back' if undoes else 'Turned'} at {_screw(rate)}: {direction}, {wording.turn(eighths)}"


def _screw(rate: str) -> str:
    """Return an adjuster by its rate, or that the sheet names none."""
    return rate or "an adjuster that the sheet does not name"
