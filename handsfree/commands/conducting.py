"""Setting a visit up: folder, recogniser, voice and keys; and what is said when it ends or is interrupted."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Self

import numpy as np

from handsfree.commands.customer_page import customers_page_of, hand_to_phone
from handsfree.commands.general_recogniser import plan_to_ask
from handsfree.commands.phone_visit import phone_sound, switch_off, wait_for_phone
from handsfree.commands.showing import Screen, shown
from handsfree.commands.visit_options import VisitOptions
from handsfree.commands.voices import enrolled_voice
from handsfree.events import decisions as ev
from handsfree.events.earlier import EarlierVisit
from handsfree.events.record import Event
from handsfree.glance.phone_sound import PhoneSound
from handsfree.glance.web import has_keys
from handsfree.hearing.enrolment.voice import EnrolledVoice
from handsfree.hearing.microphone import Microphone
from handsfree.hearing.model_folder import ModelFolder
from handsfree.hearing.sources import SoundFile, SoundFolder, SoundSource
from handsfree.hearing.worker import Hearing, HearingPlan, recogniser_of
from handsfree.instruments.mapping import load_mapping
from handsfree.ledger.personal import Committed, names_of
from handsfree.lexicon.catalogue import ENGLISH
from handsfree.office.carried import carried
from handsfree.problem import ExitCode, Problem, one_line
from handsfree.session.margins import MARGINS
from handsfree.session.plan import Plan
from handsfree.shipped import model_folder
from handsfree.speaking import tones
from handsfree.speaking.sound import Sound
from handsfree.speaking.voice import Voice, VoiceSettings
from handsfree.speaking.worker import Loudspeaker
from handsfree.visit.conductor import Conductor
from handsfree.visit.folder import load_plan, plan_of
from handsfree.visit.instrument import FollowedInstrument
from handsfree.visit.photo_folder import PhotoFolder
from handsfree.visit.proven import must_be_proven
from handsfree.visit.recorder import Recorder, recorded_events
from handsfree.visit.sheet_standing import sheet_standing
from handsfree.visit.standing import chosen, fault_today, kept_with, must_be_approved

BETWEEN_MS = 120
"""Of silence between two sentences; before the first it would only delay the answer."""

TONES = {"attention": tones.attention, "alarm": tones.alarm}


def conduct_new(
    procedure: str,
    job_sheet: Path,
    out: Path | None,
    options: VisitOptions,
    *,
    draft: bool,
    unproven: bool,
    language: str | None = None,
    last_visits: Path | None = None,
) -> ExitCode:
    """Begin a visit in a new folder and lead it, in the language given or else in the job sheet's.

    Of the folder of earlier visits those to the same appliance are carried in.

    Raises Problem when the procedure is a draft, unless `draft` or `unproven` allows that, and when a proof fails,
    unless `unproven` does.
    """
    with chosen(procedure) as (file, bundle):
        plan, kept = load_plan(file, job_sheet, language=language)
    failing = must_be_proven(plan.procedure, unproven=unproven)
    standing = must_be_approved(plan.procedure, bundle, draft=draft or unproven)
    folder = out or Path("visits") / f"{time.strftime('%Y-%m-%d-%H%M%S')}-{plan.sheets.job.job}"
    options, unheard = _by_keys_where_unheard(options, plan)
    model = _model_sha256(options, plan)
    voice = _enrolled(options, plan, plan.sheets.job.technician.name)
    earlier, words = _carried_in(last_visits, plan)
    instrument = _instrument(options, plan)
    sheet = job_sheet.parent / plan.sheets.job.appliance
    check, signatures = sheet_standing(sheet, kept[sheet.name], plan.sheets.appliance.version)
    sys.stderr.write(one_line(f"Maker's data {sheet.name}: {check.sentence}.") + "\n")
    recorder, opening = Recorder.begin(
        folder,
        plan,
        {**kept, **kept_with(bundle), **signatures},
        model_sha256=model,
        unproven=failing,
        standing=standing,
        checkpoint=carried(),
        unheard=unheard,
        hears=not options.typed,
        photos=options.photos is not None or (options.glance_web is not None and has_keys(options.glance_web)),
        earlier=earlier,
        words=words,
        enrolled=voice is not None,
    )
    return _conduct(recorder, opening, options, instrument=instrument, own=voice)


def _carried_in(last_visits: Path | None, plan: Plan) -> tuple[tuple[EarlierVisit, ...], tuple[Committed, ...]]:
    """Return the earlier visits to this appliance with the words they commit to; what is left out is told."""
    if last_visits is None:
        return (), ()
    from handsfree.desk.last_time import last_time  # noqa: PLC0415 - loads the desk's reading of records

    before = last_time(last_visits, plan)
    for sentence in before.left_out:
        sys.stderr.write(f"{sentence}\n")
    return before.visits, before.words


def conduct_resumed(folder: Path, options: VisitOptions) -> ExitCode:
    """Go on with an interrupted visit; where what approved its procedure holds no more, that is said first."""
    past = recorded_events(folder)
    opened = next((event for event in past if isinstance(event, ev.VisitOpened)), None)
    instrument = voice = None
    if opened is not None:
        plan = plan_of(folder, opened.procedure, opened.language)
        options, _ = _by_keys_where_unheard(options, plan)
        _model_sha256(options, plan)
        voice = _enrolled(options, plan, names_of(folder).told(opened.technician))
        instrument = _instrument(options, plan)
    fault = "" if opened is None else fault_today(folder, opened)
    recorder, opening = Recorder.resume(folder, approval_fault=fault, enrolled=voice is not None)
    return _conduct(recorder, opening, options, past, fault, instrument=instrument, own=voice)


def _conduct(
    recorder: Recorder,
    opening: Sequence[ev.Decision],
    options: VisitOptions,
    past: Sequence[Event] = (),
    fault: str = "",
    *,
    instrument: FollowedInstrument | None = None,
    own: EnrolledVoice | None = None,
) -> ExitCode:
    code, page = ExitCode.LEFT_OPEN, None
    try:
        with (
            _voice(options, recorder.plan) as voice,
            phone_sound(options) as phone,
            shown(recorder, options, past, phone, switch_off(recorder.plan, voice, phone)) as screen,
            _recogniser(recorder, options, phone, own) as hearing,
            _Speaker(hearing, screen, voice, phone) as speaker,
            _photo_folder(options, speaker) as folder,
            instrument or contextlib.nullcontext() as witness,
        ):
            if witness is not None:
                witness.note = speaker.note
            first = "" if phone is None else wait_for_phone(phone, screen)
            conductor = Conductor(
                recorder,
                speaker,
                screen.keys,
                hearing,
                screen.live,
                alert_command=options.alert_command,
                signing=screen.live,
                photos=[each for each in (screen.live, folder) if each is not None],
                instrument=witness,
            )
            if fault:
                speaker.note(f"The approval of this procedure no longer holds: {fault}")
            code = conductor.run(opening, first, warned=bool(fault))
            if recorder.closed:
                speaker.say([_closing(recorder)], [])
                page = customers_page_of(recorder.folder, speaker.note)
                speaker.wait()
        if recorder.closed and not screen.lines:
            sys.stdout.write(f"{_closing(recorder)}\n")
        if recorder.closed and options.timestamp_server:
            sys.stderr.write(_stamped(recorder.folder, options.timestamp_server))
        if page is not None and options.hand_over is not None:
            hand_to_phone(page, options.hand_over)
    except KeyboardInterrupt:
        code = ExitCode.LEFT_OPEN
    finally:
        recorder.release()
        if not recorder.closed:
            sys.stderr.write(_left_open(recorder))
    return code


def _closing(recorder: Recorder) -> str:
    head = recorder.head()
    state = recorder.state
    saying = {"finished": "finished", "incomplete": "left-incomplete"}.get(state.outcome, "closed-stopped")
    lacking = ", ".join(one.what for one in state.lacking)
    return recorder.plan.catalogue.say(saying, what=lacking, count=str(head.count), checksum=head.checksum)


def _stamped(folder: Path, server: str) -> str:
    """Have the closed record stamped; a server that is not there takes nothing from the visit."""
    from handsfree.office.timestamps import add_time_stamp  # noqa: PLC0415 - loads a native library

    try:
        return f"Stamped by a time-stamp authority: {add_time_stamp(folder, server)}\n"
    except Problem as problem:
        return f"Not stamped: {problem.sentence()} Later: handsfree log stamp {folder} --server {server}\n"


def _left_open(recorder: Recorder) -> str:
    things = ", ".join(recorder.plan.things[thing].said for thing in recorder.state.altered) or "nothing"
    return (
        f"Left open at {recorder.state.gate}. Still altered: {things}. Go on: handsfree resume {recorder.folder}\n"
    )


def _instrument(options: VisitOptions, plan: Plan) -> FollowedInstrument | None:
    """Return the instrument that the options name, opened; Problem where its mapping or its source is at fault."""
    mapping, source = options.instrument, options.instrument_source
    if mapping is None and source is None:
        return None
    if mapping is None or source is None:
        raise Problem(
            "an instrument needs both its mapping and its source",
            where="--instrument, --instrument-source",
            remedy="give both; try the mapping with `handsfree instrument`",
        )
    units = {name: known.unit for name, known in plan.catalogue.quantities.items()}
    return FollowedInstrument(load_mapping(mapping, units), source)


@contextlib.contextmanager
def _photo_folder(options: VisitOptions, speaker: _Speaker) -> Iterator[PhotoFolder | None]:
    """Watch the folder that photos come into, where one is named."""
    if options.photos is None:
        yield None
        return
    with PhotoFolder(options.photos, speaker.note) as folder:
        yield folder


@contextlib.contextmanager
def _voice(options: VisitOptions, plan: Plan) -> Iterator[Voice | None]:
    """Give the voice, unless prompts are to be text only."""
    if options.silent:
        yield None
        return
    voice = Voice(VoiceSettings(plan.catalogue.voice))
    try:
        yield voice
    finally:
        voice.close()


def _source(options: VisitOptions, phone: PhoneSound | None) -> SoundSource | None:
    """Return what is listened to, or None for keys alone."""
    if options.typed:
        return None
    if phone is not None:
        return phone.microphone
    if options.sound is not None:
        return (
            SoundFolder(options.sound, paced=True)
            if options.sound.is_dir()
            else SoundFile(options.sound, paced=True)
        )
    return Microphone(options.microphone)


def _by_keys_where_unheard(options: VisitOptions, plan: Plan) -> tuple[VisitOptions, bool]:
    """Return the options, with the keys alone where no model was named and ours hears another language.

    The second is whether that is so, and has to be told.
    """
    unheard = not options.typed and options.model is None and plan.catalogue.language != ENGLISH
    return (replace(options, typed=True) if unheard else options), unheard


def _model_sha256(options: VisitOptions, plan: Plan) -> str | None:
    """Return the identity of the model heard with; Problem when it cannot hear the words of the visit."""
    if options.typed:
        return None
    folder = ModelFolder.check(options.model or model_folder())
    folder.require(plan.words, plan.pronunciations, plan.catalogue.language)
    return folder.identity


def _enrolled(options: VisitOptions, plan: Plan, person: str) -> EnrolledVoice | None:
    """Return the technician's voice, where it was enrolled for this microphone and model; else tell why not."""
    voice, why_not = enrolled_voice(options, person, plan.catalogue)
    if why_not:
        sys.stderr.write(one_line(why_not) + "\n")
    return voice


@contextlib.contextmanager
def _recogniser(
    recorder: Recorder, options: VisitOptions, phone: PhoneSound | None, own: EnrolledVoice | None
) -> Iterator[Hearing | None]:
    source = _source(options, phone)
    if source is None:
        yield None
        return
    general = plan_to_ask(recorder.plan.catalogue, asked=options.ask_general, folder=options.general_model)
    import_module("handsfree.ledger.sound")  # now, so that the first clip needs nothing but its own file
    recogniser = partial(
        recogniser_of, options.model or model_folder(), recorder.plan.pronunciations, general, own
    )
    stop_words = recorder.plan.stop_grammar.automaton
    hearing = Hearing(HearingPlan(source, recogniser, stop_words, options.headset, MARGINS.in_talk))
    try:
        yield hearing
    finally:
        hearing.close()


class _Speaker:
    """Prints every line where there is no screen, and speaks it unless silent, by the loudspeaker or the phone."""

    def __init__(
        self, hearing: Hearing | None, screen: Screen, voice: Voice | None, phone: PhoneSound | None
    ) -> None:
        self._screen, self._voice = screen, voice
        on_change = hearing.tool_speaks if hearing is not None else None
        self._loudspeaker: Loudspeaker | PhoneSound | None = None
        if self._voice is not None and phone is not None:
            self._loudspeaker = phone
            if on_change is not None:
                phone.on_change = on_change
        elif self._voice is not None:
            try:
                self._loudspeaker = Loudspeaker(on_change=on_change, on_trouble=self._trouble)
            except Problem as problem:
                self.note(problem.sentence())
        self._noticed = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._loudspeaker is not None:
            self._loudspeaker.close()

    @property
    def speaking(self) -> bool:
        """Whether the tool can be heard now."""
        return self._loudspeaker is not None and self._loudspeaker.speaking

    def say(self, texts: Sequence[str], tones: Sequence[str]) -> None:
        """Print and speak, in place of what is being said."""
        if self._screen.lines:
            for text in texts:
                sys.stdout.write(f"{text}\n")
            sys.stdout.flush()
        sounds = [TONES[name]() for name in tones]
        sounds += [sound for text in texts if (sound := self._rendered(text)) is not None]
        if sounds and self._loudspeaker is not None:
            rate = sounds[-1].rate
            first, *others = (sound.at_rate(rate) for sound in sounds)
            joined = [first.samples, *(sound.after_silence(BETWEEN_MS).samples for sound in others)]
            self._loudspeaker.play(Sound(np.concatenate(joined), rate))

    def cut(self) -> None:
        """Fall silent at once."""
        if self._loudspeaker is not None:
            self._loudspeaker.cut()

    def note(self, text: str) -> None:
        """Show a line that is not spoken."""
        if self._screen.live is not None:
            self._screen.live.notice(text)
        if self._screen.lines:
            sys.stderr.write(f"  {text}\n")
            sys.stderr.flush()

    def wait(self) -> None:
        """Let the last words be heard."""
        if self._loudspeaker is not None:
            self._loudspeaker.wait(20.0)

    def _rendered(self, text: str) -> Sound | None:
        if self._voice is None:
            return None
        sound = self._voice.render(text)
        if sound is None and self._voice.notice and not self._noticed:
            self._noticed = True
            self.note(self._voice.notice)
        return sound

    def _trouble(self, sentence: str | None) -> None:
        if sentence:
            self.note(sentence)
