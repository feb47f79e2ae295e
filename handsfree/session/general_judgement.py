"""What the general recogniser's opinion, as it is recorded, says of the alternatives of an utterance."""

from __future__ import annotations

from decimal import Decimal

from handsfree.events.inputs import Heard
from handsfree.lexicon.grammar import UNKNOWN_WORD, Grammar
from handsfree.session.margins import MARGINS, Margins, at

STEP = Decimal("0.001")
THE_SAME = Decimal("0.05")
"""A sentence so close (log) to the free text is what it says: written in two ways, it may even lead it."""


def asked(heard: Heard) -> bool:
    """Say whether the general recogniser gave its opinion, on one alternative at least."""
    given = heard.general is not None and heard.general.likelihood is not None
    return given and any(one.general is not None for one in heard.alternatives)


def beside_noise(heard: Heard) -> bool:
    """Say whether it was asked about the noise alone, too: at a closed question, where there was enough of it."""
    return heard.general is not None and heard.general.habit is not None


def beyond_noise(heard: Heard, alternative: int) -> Decimal | None:
    """Return how much likelier (log) it finds a sentence in the sound than in noise alone; None where not asked.

    So what is expected anyway counts no more than a phrase that nobody ever wrote.
    """
    chosen = heard.alternatives[alternative]
    if not beside_noise(heard) or chosen.general is None or chosen.habit is None:
        return None
    return chosen.general - chosen.habit


def strangeness(heard: Heard, grammar: Grammar, alternative: int, margins: Margins = MARGINS) -> Decimal:
    """Return how much likelier it is (log odds) that the speech was not for us than that this was said."""
    assert heard.general is not None
    assert heard.general.likelihood is not None
    chosen, score = heard.alternatives[alternative], own_scores(heard, margins)[alternative]
    other = [one.score for one in heard.alternatives if UNKNOWN_WORD in one.text and not grammar.read(one.text)]
    ours = max(other, default=score - margins.beyond_reach) - score
    phones = margins.other_phones * phones_ahead(heard, alternative, margins)
    if beside_noise(heard):
        gained = beyond_noise(heard, alternative) or Decimal(0)
        return (ours + phones - margins.closed_told * gained).quantize(STEP)
    likelihood = chosen.general if chosen.general is not None else heard.general.likelihood - margins.beyond_reach
    told = ours + margins.free_text * (heard.general.likelihood - likelihood)
    return (told + phones).quantize(STEP)


def limits(heard: Heard, length: int, *, values: bool) -> tuple[Decimal, Decimal, Decimal]:
    """Return how strange an answer of so many phones may be to be taken without a question, and to be ours at all.

    And how far the likeliest phones may lead its own for the first. A value that is a little strange may be
    another value, however long the whole.
    """
    longer = Decimal(0) if values else at(MARGINS.long_answer, length)
    if beside_noise(heard):  # what a longer one gains over noise is more by itself
        return MARGINS.closed_at_once, MARGINS.closed_strange, MARGINS.phones_at_once + longer
    return MARGINS.strange_at_once + longer, MARGINS.strange + longer, MARGINS.phones_at_once + longer


def phones_ahead(heard: Heard, alternative: int, margins: Margins = MARGINS) -> Decimal:
    """Return how far (log) the likeliest phones lead those of an alternative; 0 where nobody told phones."""
    if heard.general is None or heard.general.phones is None:
        return Decimal(0)
    chosen = heard.alternatives[alternative].phones
    return margins.phone_reach if chosen is None else min(margins.phone_reach, heard.general.phones - chosen)


def free_text_ahead(heard: Heard, alternative: int) -> Decimal:
    """Return how far (log) the free text leads an alternative, `beyond_reach` where that was given up."""
    assert heard.general is not None
    assert heard.general.likelihood is not None
    chosen = heard.alternatives[alternative].general
    return MARGINS.beyond_reach if chosen is None else min(MARGINS.beyond_reach, heard.general.likelihood - chosen)


def lead_wanted(ahead: Decimal, margins: Margins = MARGINS) -> Decimal:
    """Return the lead that is taken without a question, by how far the free text is `ahead` of the answer."""
    return margins.value_said if ahead <= THE_SAME else margins.value


def preferred(heard: Heard, alternative: int, margins: Margins = MARGINS) -> frozenset[int]:
    """Return the places of the alternatives that the general recogniser finds clearly likelier than this one.

    Left out are those whose phones are clearly not there: what it writes follows its habits in noise.
    """
    likely = _likelihoods(heard)
    chosen, ahead = likely[alternative], phones_ahead(heard, alternative, margins)
    return frozenset(
        place
        for place, one in enumerate(likely)
        if one is not None
        and (chosen is None or one - chosen >= margins.disagree)
        and phones_ahead(heard, place, margins) - ahead < margins.phones_differ
    )


def _likelihoods(heard: Heard) -> tuple[Decimal | None, ...]:
    """Return what it says of each alternative, beyond what it says of noise alone where it was asked that."""
    if beside_noise(heard):
        return tuple(beyond_noise(heard, place) for place in range(len(heard.alternatives)))
    return tuple(one.general for one in heard.alternatives)


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

    By its text, or by its phones. In noise it writes anything: there what our own ears hear acts.
    """
    if heard.general is None or not heard.general.stop_alone or heard.above_noise_db is None:
        return False
    (noisy, _), *_ = MARGINS.ours_short_stop
    alike = likenesses(heard)[0]
    unlike = (alike is not None and alike < MARGINS.stop_against) or phones_ahead(heard, 0) > MARGINS.stop_phones
    return heard.above_noise_db > noisy and unlike


def phones_apart(heard: Heard) -> tuple[Decimal, ...]:
    """Return how far (log) the likeliest phones lead those of each alternative; nothing where they cannot tell.

    That is in noise, or where nobody told phones.
    """
    (noisy, _), *_ = MARGINS.ours_short_stop
    if heard.above_noise_db is None or heard.above_noise_db <= noisy:
        return ()
    return tuple(phones_ahead(heard, place) for place in range(len(heard.alternatives)))


def sound_scores(heard: Heard, margins: Margins = MARGINS) -> tuple[Decimal, ...]:
    """Return the score of each alternative by all who were asked."""
    if not asked(heard):
        return tuple(one.score for one in heard.alternatives)
    likely = _likelihoods(heard)
    best = max((one for one in likely if one is not None), default=Decimal(0))
    weight, phone_weight = margins.weight, margins.phone_weight
    if beside_noise(heard):
        weight, phone_weight = margins.closed_weight, margins.closed_phone_weight
    least = min(
        (phones_ahead(heard, place, margins) for place in range(len(heard.alternatives))), default=Decimal(0)
    )
    return tuple(
        score
        - weight * (margins.beyond_reach if one is None else min(margins.beyond_reach, best - one))
        - phone_weight * (phones_ahead(heard, place, margins) - least)
        for place, (one, score) in enumerate(zip(likely, own_scores(heard, margins), strict=True))
    )


def own_scores(heard: Heard, margins: Margins = MARGINS) -> tuple[Decimal, ...]:
    """Return our own score of each alternative; `unlisted` for some that our list lacks.

    They are what the free text says and what fits the phones best. The list ends after few sentences, and says
    nothing of how well a further one fits the sound.
    """
    assert heard.general is not None
    assert heard.general.likelihood is not None
    said = heard.general.likelihood - THE_SAME
    fit = max((one.phones for one in heard.alternatives if one.phones is not None), default=None)
    return tuple(
        margins.unlisted
        if one.score < margins.listed
        and ((one.general is not None and one.general >= said) or (fit is not None and one.phones == fit))
        else one.score
        for one in heard.alternatives
    )
