"""The voices enrolled on this device: listing, forgetting, and the one that a visit hears with."""

from __future__ import annotations

from handsfree.commands.phone_visit import wanted
from handsfree.commands.visit_options import VisitOptions
from handsfree.hearing.enrolment.keeping import Voices
from handsfree.hearing.enrolment.voice import EnrolledVoice
from handsfree.hearing.model_folder import ModelFolder
from handsfree.ledger import state_folder
from handsfree.lexicon.catalogue import Catalogue
from handsfree.shipped import model_folder
from handsfree.sound_card import device

PHONE = "phone"


def microphone_named(name: str | None) -> str:
    """Return the full name of the microphone meant; Problem when there is none."""
    return device(name, "input").name


def enrolled_voice(options: VisitOptions, person: str, catalogue: Catalogue) -> tuple[EnrolledVoice | None, str]:
    """Return the technician's voice for the microphone and the model of this visit; and what is to be told.

    None where nothing is listened to, nobody of that name enrolled here, or microphone or model changed since.
    """
    voices = Voices(state_folder())
    if options.typed or not any(one.of(person) for one in voices.kept()):
        return None, ""
    if wanted(options):
        microphone = PHONE
    elif options.sound is not None:
        microphone = options.sound.name
    else:
        microphone = microphone_named(options.microphone)
    return voices.fitting(
        person, microphone, ModelFolder(options.model or model_folder()).identity, stop_words(catalogue)
    )


def stop_words(catalogue: Catalogue) -> frozenset[str]:
    """Return every word of every stop and hazard phrase: none of them is ever weighed by an enrolment."""
    phrases = (text for hazard in catalogue.hazards.values() for text in (*hazard.heard, *hazard.alone))
    return frozenset(word for text in phrases for word in text.split())


def listed() -> list[str]:
    """Return a line for each enrolment on this device."""
    found = [
        f'{one.person}: {one.day}, "{one.microphone}", model {one.model}' for one in Voices(state_folder()).kept()
    ]
    return found or ["Nobody has enrolled a voice on this device."]


def forget(person: str) -> str:
    """Delete what a person has enrolled on this device, and say so."""
    gone = Voices(state_folder()).forget(person)
    return f"Deleted: {gone}, by {person}." if gone else f"{person} has enrolled nothing on this device."
