"""What the general recogniser's opinion, as it is recorded, says of the alternatives of an utterance."""

from __future__ import annotations

from decimal import Decimal

from handsfree.events.inputs import Heard
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.session.margins import MARGINS, Margins

STEP = Decimal("0.001")
THE_SAME = Decimal("0.05")
"""A sentence so close (log) to the free text is what it says: written in two ways, it may even lead it."""


def asked(heard: Heard) -> bool:
    """Say whether the general recogniser gave its opinion, on one alternative at least."""
    given = heard.general is not None and heard.general.likelihood is not None
    return given and any(one.general is not None for one in heard.alternatives)


def strangeness(heard: Heard, grammar: Grammar, alternative: int, margins: Margins = MARGINS) -> Decimal:
    """Return how much likelier it is (log odds) that the speech was not for us than that this was said."""
    assert heard.general is not None
    assert heard.general.likelihood is not None
    chosen, score = heard.alternatives[alternative], own_scores(heard, margins)[alternative]
    other = [one.score for one in heard.alternatives if UNKNOWN_WORD in one.text and not grammar.read(one.text)]
    ours = max(other, default=score - margins.beyond_reach) - score
    likelihood = chosen.general if chosen.general is not None else heard.general.likelihood - margins.beyond_reach
    return (ours + margins.free_text * (heard.general.likelihood - likelihood)).quantize(STEP)


def free_text_ahead(heard: Heard, alternative: int) -> Decimal:
    """Return how far (log) the free text leads an alternative, `beyond_reach` where that was given up."""
    assert heard.general is not None
    assert heard.general.likelihood is not None
    chosen = heard.alternatives[alternative].general
    return MARGINS.beyond_reach if chosen is None else heard.general.likelihood - chosen


def lead_wanted(ahead: Decimal, margins: Margins = MARGINS) -> Decimal:
    """Return the lead that is taken without a question, by how far the free text is `ahead` of the answer."""
    return margins.value_said if ahead <= THE_SAME else margins.value


def preferred(heard: Heard, alternative: int) -> frozenset[int]:
    """Return the places of the alternatives that the general recogniser finds clearly likelier than this one."""
    chosen = heard.alternatives[alternative].general
    return frozenset(
        place
        for place, one in enumerate(heard.alternatives)
        if one.general is not None and (chosen is None or one.general - chosen >= MARGINS.disagree)
    )


def likenesses(heard: Heard) -> tuple[Decimal | None, ...]:
    """Return of each alternative how close it comes to the free text; nothing where that was not asked for.

    None for what our own ears do not list, unless the general recogniser is sure of it: in loud noise it writes
    anything, and nothing is far behind that.
    """
    if heard.general is None or heard.general.likelihood is None:
        return ()
    free = heard.general.likelihood
    return tuple(
        None
        if one.general is None or (one.score < MARGINS.listed and one.general < MARGINS.sure)
        else one.general - free
        for one in heard.alternatives
    )


def stop_doubted(heard: Heard) -> bool:
    """Say whether the general recogniser was asked about the short stop that leads, and finds nothing like it.

    In noise it writes anything: there what our own ears hear acts.
    """
    if heard.general is None or not heard.general.stop_alone or heard.above_noise_db is None:
        return False
    (noisy, _), *_ = MARGINS.ours_short_stop
    alike = likenesses(heard)[0]
    return heard.above_noise_db > noisy and alike is not None and alike < MARGINS.stop_against


def sound_scores(heard: Heard, margins: Margins = MARGINS) -> tuple[Decimal, ...]:
    """Return the score of each alternative by all who were asked."""
    if not asked(heard):
        return tuple(one.score for one in heard.alternatives)
    known = [one.general for one in heard.alternatives if one.general is not None]
    best = max(known)
    return tuple(
        score - margins.weight * (margins.beyond_reach if one.general is None else best - one.general)
        for one, score in zip(heard.alternatives, own_scores(heard, margins), strict=True)
    )


def own_scores(heard: Heard, margins: Margins = MARGINS) -> tuple[Decimal, ...]:
    """Return our own score of each alternative; for what the free text says and our list lacks, `unlisted`.

    The list ends after few sentences, and says nothing of how well a further one fits the sound.
    """
    assert heard.general is not None
    assert heard.general.likelihood is not None
    said = heard.general.likelihood - THE_SAME
    return tuple(
        margins.unlisted
        if one.score < margins.listed and one.general is not None and one.general >= said
        else one.score
        for one in heard.alternatives
    )
