"""What a visit decides, as it is recorded. The state of a visit is these events applied, nothing else.

One module for each subject, and this union, which is their only list; everybody takes them from here.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from handsfree.events.decisions.changes import (
    Advised,
    Altered,
    Direction,
    FoundValue,
    Restored,
    ScrewNamed,
    TurnCalled,
    Turned,
    TurnWatched,
)
from handsfree.events.decisions.ends import (
    AtItsEnd,
    Ending,
    Lacking,
    ProcedureStanding,
    SoundConsent,
    VisitClosed,
    VisitOpened,
    WhyLacking,
    at_its_end,
)
from handsfree.events.decisions.gates import (
    CarriedOn,
    GateEntered,
    GatePassed,
    Held,
    MoreTime,
    NoPhoto,
    NotDone,
    RecheckBegun,
    Rechecked,
    VerdictGiven,
    WentBack,
)
from handsfree.events.decisions.reading import ReadingRecord
from handsfree.events.decisions.stops import (
    Alerted,
    Cleared,
    Leads,
    ReEntered,
    ReEntry,
    StepReported,
    StepsBegun,
    StepsOwed,
    StepsPart,
    StepTakenBack,
    Stopped,
    StoppedBy,
    WentOut,
)
from handsfree.events.decisions.talk import AnsweredBy, Asked, Noted, NotUnderstood, Said, ToneSounded, Understood
from handsfree.events.decisions.values import (
    InstrumentCompared,
    LastTimeTold,
    Marked,
    PairDoubted,
    RateCalled,
    ReadBack,
    ReadingAccepted,
    ReadingCorrected,
    ReadingRefused,
    SetTaken,
    SettlingJudged,
    SetVoided,
    ValueSettled,
)

Decision = Annotated[
    VisitOpened
    | SoundConsent
    | Said
    | Asked
    | ToneSounded
    | Understood
    | NotUnderstood
    | GateEntered
    | GatePassed
    | WentBack
    | ReadBack
    | ReadingCorrected
    | ReadingRefused
    | ReadingAccepted
    | InstrumentCompared
    | RateCalled
    | SetTaken
    | LastTimeTold
    | SetVoided
    | PairDoubted
    | SettlingJudged
    | ValueSettled
    | FoundValue
    | Altered
    | Restored
    | Marked
    | VerdictGiven
    | Advised
    | TurnCalled
    | ScrewNamed
    | TurnWatched
    | Turned
    | NotDone
    | NoPhoto
    | Noted
    | AnsweredBy
    | Held
    | MoreTime
    | CarriedOn
    | RecheckBegun
    | Rechecked
    | WentOut
    | Stopped
    | Alerted
    | StepsBegun
    | StepReported
    | StepTakenBack
    | StepsOwed
    | ReEntered
    | Cleared
    | VisitClosed,
    Field(discriminator="kind"),
]
