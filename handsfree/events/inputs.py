"""What comes in from the world, as it is recorded: words, time, and the state of the devices.

Times are milliseconds of the visit's own monotonic clock. A visit is decided from these alone.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal, TypeGuard, get_args

from pydantic import BaseModel, ConfigDict, Field, PlainSerializer

Exact = Annotated[Decimal, PlainSerializer(lambda value: f"{value:f}", return_type=str)]


class Record(BaseModel):
    """A frozen, strict shape that goes into the ledger as JSON without binary floats."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class PersonalData(Record):
    """A piece of a person's data that lies beside the record and can be erased there."""

    commitment: str
    """SHA-256 of the file, 32 random bytes and then the payload (ledger/FORMAT.md)."""
    whose: Literal["technician", "second person", "customer"]
    what: Literal["name", "licence", "signature", "words", "photo"]


class HeardWord(Record):
    """One word with its place in the utterance."""

    word: str
    start_ms: int
    end_ms: int
    confidence: Exact


class Alternative(Record):
    """One way of hearing an utterance; scores compare only within the utterance, higher is better."""

    words: tuple[HeardWord, ...]
    score: Exact
    general: Exact | None = None
    """Log likelihood by the general recogniser, where it was asked and did not put it too far behind."""
    habit: Exact | None = None
    """What it gives the same words on the noise of the moment alone, where it was asked."""
    phones: Exact | None = None
    """Log likelihood of its phones and no others, by the phone network, where that was asked."""

    @property
    def text(self) -> tuple[str, ...]:
        """The bare words."""
        return tuple(word.word for word in self.words)


class GeneralHearing(Record):
    """What the general recogniser made of an utterance: the third opinion."""

    member: str
    """Which weights were asked."""
    text: str = ""
    """What it wrote of its own accord, where that is a sentence of the grammar or was put away: free words."""
    words: PersonalData | None = None
    """What commits to free words; `text` then is `personal:` and the commitment."""
    likelihood: Exact | None = None
    """The logarithm of how likely it found that."""
    late: bool = False
    """It took longer than it may, and the visit went on without it."""
    stop_alone: bool = False
    """It was asked about the short stop phrase that led, and nothing else: it may speak against that."""
    phones: Exact | None = None
    """Log likelihood of the likeliest phones, whatever they are."""
    phone_network: str = ""
    """Which weights of the phone network were asked; empty where none were."""
    habit: Exact | None = None
    """How likely it found what it wrote on the noise of the moment alone, where it was asked about that."""


class Heard(Record):
    """An utterance as the recogniser heard it, best alternative first."""

    kind: Literal["heard"] = "heard"
    at: int
    alternatives: tuple[Alternative, ...]
    grammar: str
    """The identity of the grammar that was listened for."""
    started: int
    ended: int
    overflow: bool = False
    """Blocks of sound were lost in it: no reading is taken from such an utterance."""
    clipped: bool = False
    over_voice: bool = False
    """It began while the tool itself was speaking: only stop and hazard phrases act."""
    sound: str | None = None
    """SHA-256 of the utterance's sound, as kept beside the ledger."""
    general: GeneralHearing | None = None
    above_noise_db: Exact | None = None
    """How far the speech stood above the noise before it; None where nobody measured that."""


class Typed(Record):
    """Words or keys typed, for when the recogniser fails."""

    kind: Literal["typed"] = "typed"
    at: int
    text: str


class TimePassed(Record):
    """A deadline of the visit has come."""

    kind: Literal["time-passed"] = "time-passed"
    at: int


class SpeechEnded(Record):
    """The tool has finished saying what it had to say."""

    kind: Literal["speech-ended"] = "speech-ended"
    at: int
    cut: bool = False
    """It was cut off, because a person spoke over it: the question may not have been heard."""


class DeviceLost(Record):
    """A microphone, a recogniser or a voice has gone."""

    kind: Literal["device-lost"] = "device-lost"
    at: int
    device: str


class DeviceFound(Record):
    """It is back."""

    kind: Literal["device-found"] = "device-found"
    at: int
    device: str


class SoundPoor(Record):
    """The sound is too poor to be led by, as the levels of the last while show."""

    kind: Literal["sound-poor"] = "sound-poor"
    at: int
    fault: Literal["too-noisy", "too-loud", "too-quiet", "lost"]
    noise_db: Exact
    """In dB of full scale, as all levels here."""
    speech_db: Exact | None
    lost_blocks: int
    """How many blocks of sound (20 ms) were lost in the visit so far."""


class Resumed(Record):
    """The visit goes on after a crash or a pause of the program; the clock starts a new stretch."""

    kind: Literal["resumed"] = "resumed"
    at: int
    program: str
    approval_fault: str = ""
    """Why the approval of the procedure no longer holds; empty while it does."""
    enrolled: bool = False
    """Whether from here on the technician's enrolment weighs what is heard."""


SigningRole = Literal["technician", "customer"]


class SignatureDrawn(Record):
    """Somebody has signed on the phone's page; the strokes lie beside the record (SCREEN.md)."""

    kind: Literal["signature-drawn"] = "signature-drawn"
    at: int
    gate: str
    signature: PersonalData


class PhotoTaken(Record):
    """A photo came for a gate that wants one; it lies beside the record, without what its camera wrote to it."""

    kind: Literal["photo-taken"] = "photo-taken"
    at: int
    gate: str
    """The gate that wants it; it may have been left since."""
    photo: PersonalData
    source: Literal["page", "folder"]


class InstrumentValue(Record):
    """What an instrument shows of one quantity, as its line had it."""

    quantity: str
    value: str
    """A decimal as it was written, "over range", or "no reading" for a fault."""
    unit: str
    """The UCUM code of the unit that it was written in, as the mapping says."""


class InstrumentRow(Record):
    """A row of an instrument, read by a company's mapping: a witness beside what is called, never an answer."""

    kind: Literal["instrument-row"] = "instrument-row"
    at: int
    taken: int
    """When the instrument took it: by its own clock where it tells one, else when it came."""
    instrument: str
    """What the mapping calls the instrument."""
    mapping: str
    """The first twelve hex digits of the SHA-256 of the mapping."""
    values: tuple[InstrumentValue, ...]
    left_out: int = 0
    """How many lines could not be read so far."""


Input = Annotated[
    SignatureDrawn
    | InstrumentRow
    | PhotoTaken
    | Heard
    | Typed
    | TimePassed
    | SpeechEnded
    | DeviceLost
    | DeviceFound
    | SoundPoor
    | Resumed,
    Field(discriminator="kind"),
]


def is_input(event: object) -> TypeGuard[Input]:
    """Say whether an event is an input, which comes in from the world and is not decided."""
    return isinstance(event, get_args(get_args(Input)[0]))
