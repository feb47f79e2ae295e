"""The questions of a visit: one module for each kind, and this union, which is their only list."""

from __future__ import annotations

from typing import Annotated, get_args

from pydantic import Field

from handsfree.questions.alike_quantities import AlikeQuantities
from handsfree.questions.answer_check import AnswerCheck
from handsfree.questions.choice import Choice
from handsfree.questions.close_check import CloseCheck
from handsfree.questions.digits import Digits
from handsfree.questions.done_check import DoneCheck
from handsfree.questions.finding import Finding
from handsfree.questions.finish_check import FinishCheck
from handsfree.questions.instrument_asks import InstrumentAsks
from handsfree.questions.keep_it import KeepIt
from handsfree.questions.keep_sound import KeepSound
from handsfree.questions.kind import QuestionKind
from handsfree.questions.mark import Mark
from handsfree.questions.note import Note
from handsfree.questions.nothing import Nothing
from handsfree.questions.once_more import OnceMore
from handsfree.questions.outside import Outside
from handsfree.questions.person_number import PersonNumber
from handsfree.questions.put_back import PutBack
from handsfree.questions.rate import CallRate
from handsfree.questions.read_back import ReadBackCheck
from handsfree.questions.recheck_thing import RecheckThing
from handsfree.questions.still_firing import StillFiring
from handsfree.questions.stop_reading import StopReading
from handsfree.questions.stop_step import StopStep
from handsfree.questions.stop_talk import StopTalk
from handsfree.questions.stop_thing import StopThing
from handsfree.questions.stopped import AfterStop
from handsfree.questions.thing_check import ThingCheck
from handsfree.questions.thing_first import ThingFirst
from handsfree.questions.tied_values import TiedValues
from handsfree.questions.to_do import ToDo
from handsfree.questions.turn import Turn
from handsfree.questions.turn_check import TurnCheck
from handsfree.questions.turn_watch import TurnWatch
from handsfree.questions.values import CallValues
from handsfree.questions.waiting import Waiting
from handsfree.questions.which_division import WhichDivision
from handsfree.questions.which_screw import WhichScrew
from handsfree.questions.which_value import WhichValue

Question = Annotated[
    ToDo
    | Choice
    | CallValues
    | ReadBackCheck
    | OnceMore
    | Digits
    | WhichValue
    | WhichDivision
    | TiedValues
    | AlikeQuantities
    | KeepIt
    | KeepSound
    | InstrumentAsks
    | CallRate
    | Turn
    | TurnCheck
    | TurnWatch
    | WhichScrew
    | Mark
    | ThingFirst
    | PutBack
    | ThingCheck
    | DoneCheck
    | AnswerCheck
    | Finding
    | PersonNumber
    | FinishCheck
    | StillFiring
    | RecheckThing
    | Note
    | Waiting
    | Nothing
    | Outside
    | AfterStop
    | StopStep
    | StopReading
    | StopTalk
    | StopThing
    | CloseCheck,
    Field(discriminator="kind"),
]
"""Every kind of question."""

QUESTION_KINDS: tuple[type[Question], ...] = get_args(get_args(Question)[0])


def as_kind(question: Question) -> QuestionKind:
    """Return the question by the members that every kind has; a kind that lacks one does not type-check here."""
    return question
