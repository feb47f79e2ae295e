"""How far one hearing of an utterance must lead another: `margins.yaml`, fitted on people kept for tuning.

`python -m models.training.judge` and the commands whose names begin so (`judge_phrases`, `judge_stops_against` and
others) write the file with its evidence. What long phrases want in quiet stands beside the trades
(`long_stops.yaml`).
"""

from __future__ import annotations

from decimal import Decimal
from importlib import resources
from typing import Annotated, Any, Final

from pydantic import BaseModel, BeforeValidator, ConfigDict
from ruamel.yaml import YAML

Exact = Annotated[Decimal, BeforeValidator(str)]
Points = tuple[tuple[Exact, Exact], ...]
"""A margin by something that rises, most of them by how far the speech stands above the noise (dB): straight lines
between, level outside."""
STEP = Decimal("0.001")


class Margins(BaseModel):
    """All are natural logarithms of odds. Those of `ours` hold where the general recogniser was not asked."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    ours_value: Exact
    """The lead of a meaning over every other that is taken without a question."""
    ours_strange: Exact
    """An answer that speech outside the grammar leads by more was not said."""
    ours_stop: Exact
    """A long stop phrase so close behind the best alternative acts in noise: a missed stop is the worse fault."""
    ours_short_stop: Points
    """A short one acts, always, where it leads everything else by so much: in quiet its sounds are clear, and what
    leads by less is another word."""
    in_talk: Exact
    """By so much a long one leads unknown speech within talk that does not pause; by less it is the talk's own
    (`hearing/in_talk.py`)."""
    weight: Exact
    """What its likelihood counts beside our own score."""
    beyond_reach: Exact
    """How far behind its best a sentence stands that it put too far behind to say."""
    value: Exact
    """The lead of a meaning over every other that is taken without a question."""
    value_said: Exact
    """The lead that is enough where the free text says just that: nobody told it the grammar."""
    free_text: Exact
    """What the lead of its free text over a sentence counts, beside our own score for unknown speech."""
    strange_at_once: Exact
    """Up to so much strangeness (both together) an answer is taken without a question."""
    strange: Exact
    """Beyond so much it was not said to us."""
    long_answer: Points
    """How much stranger a longer answer may be, by its phones: talk rarely sounds like many in a row."""
    closed_weight: Exact
    """Where it was asked about noise alone, too: what its likelihood beyond that counts beside our own score."""
    closed_phone_weight: Exact
    """And what the likelihood of the phones does."""
    closed_told: Exact
    """What its likelihood beyond noise counts against speech that is not for us."""
    closed_at_once: Exact
    """Up to so much strangeness an answer is taken there without a question."""
    closed_strange: Exact
    """Beyond so much it was not said to us."""
    free_ahead: Exact
    """Where its free text leads the answer by more, the answer is not taken without a question."""
    phone_weight: Exact
    """What the likelihood of its phones counts beside our own score."""
    phone_reach: Exact
    """How far behind the likeliest phones anything stands at most."""
    other_phones: Exact
    """What the lead of the likeliest phones over those of an answer counts for speech that is not for us."""
    phones_at_once: Exact
    """Where the likeliest phones lead those of the answer by more, it is not taken without a question."""
    phones_differ: Exact
    """What the general recogniser prefers says nothing where its phones are so much less likely."""
    disagree: Exact
    """Nor where it finds another meaning likelier by so much: where the two differ, nobody should be sure."""
    stop: Exact
    """A short stop phrase so close to its free text is heard, whatever our own ears say."""
    stop_against: Exact
    """One further from it does not act in quiet, where the general recogniser was asked about it alone."""
    stop_phones: Exact
    """Nor one whose phones the likeliest lead by more."""
    long_stop_phones: Exact
    """Nor does a long one, heard behind something else, whose phones the likeliest lead by more."""
    stop_long: Exact
    """A long one that our ears list is heard where it comes so close to its free text."""
    listed: Exact
    """Our own score of what our ears heard at all; below it stands what the general recogniser added."""
    unlisted: Exact
    """Our own score of a sentence that our ears do not list, where the free text says just that."""
    sure: Exact
    """The likelihood from which on the general recogniser is sure of a short stop phrase."""
    sure_ours: tuple[Exact, ...]
    """What each feature of `how_sure.py` counts where the general recogniser was not asked."""
    sure_both: tuple[Exact, ...]
    """And where it was."""
    evidence: tuple[str, ...]
    """What they were fitted on, and what they gave there."""


def at(points: Points, place: Decimal | int | None) -> Decimal:
    """Return a margin at a place, as a distance from the noise; where nobody measured it, the first."""
    (first, margin), *others = points
    if place is None or place <= first:
        return margin
    for further, higher in others:
        if place < further:
            return (margin + (higher - margin) * (place - first) / (further - first)).quantize(STEP)
        first, margin = further, higher
    return margin


def in_quiet(margins: Margins, lead: Decimal) -> Points:
    """Return the margin of phrases that want a lead in quiet alone; noisy and quiet are as for short ones."""
    (noisy, _), *_, (quiet, _) = margins.ours_short_stop
    return (noisy, -margins.ours_stop), (quiet, lead)


def _read(package: str, name: str) -> Any:
    text = resources.files("handsfree").joinpath(package, name).read_text(encoding="utf-8")
    return YAML(typ="safe", pure=False).load(text)


MARGINS: Final = Margins.model_validate(_read("session", "margins.yaml"))
LONG_STOPS: Final = {phrase: Decimal(lead) for phrase, lead in _read("trades", "long_stops.yaml").items()}
"""By how much each of these stop phrases must lead everything else in quiet: it does when it is called, and what
is heard as it does not. Any other acts there as in noise. Between noise and quiet, as of short ones, a straight
line."""
