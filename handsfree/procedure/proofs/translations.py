"""What is proven of a procedure's other languages: every text is there, or told where it may lack."""

from __future__ import annotations

from collections.abc import Iterator

from handsfree.procedure.procedure import Procedure
from handsfree.procedure.proofs.search import ProofFault, Violation

_MOST_TOLD = 3


def others(procedure: Procedure) -> Iterator[Procedure]:
    """Yield the procedure in each other language than the one that it is read in."""
    for language in _languages(procedure):
        if language != procedure.catalogue.language:
            yield procedure.in_language(language)


def lacking(procedure: Procedure) -> Iterator[Violation]:
    """Yield each text that lacks the language it is read in; but the stops' orders where some may lack."""
    complete = procedure.file.translations.get(procedure.catalogue.language) == "complete"
    for one in procedure.untranslated:
        what, remedy = f"{one.language} lacks this text", f"write `{one.language}: …` beside it"
        if one.order:
            what, remedy = f"{one.language} lacks the order of this stop", f"{remedy}; no order is left out"
        else:
            remedy += f", or `translations: {{{one.language}: partial}}`"
        if complete or one.order:
            yield Violation("", ProofFault("translated", f"{what}: {one.text}", remedy), (), place=one.place)


def remarks(procedure: Procedure) -> Iterator[str]:
    """Yield what a language lacks by the author's choice, and of which one nobody knows how its words sound."""
    for language in _languages(procedure):
        led = procedure if language == procedure.catalogue.language else procedure.in_language(language)
        own = procedure.file.language
        if procedure.file.translations.get(language) == "partial" and led.untranslated:
            places = ", ".join(str(one.place) for one in led.untranslated[:_MOST_TOLD])
            more = len(led.untranslated) - _MOST_TOLD
            told = f"{places} and {more} more" if more > 0 else places
            yield f"{language} lacks {len(led.untranslated)} texts, which are then said in {own}: {told}"
        if language != own and led.catalogue.dictionary is None and not led.catalogue.pronunciations:
            yield (
                f"{language} has no pronunciations: nothing is proven of how its words sound, but that no phrase "
                "is another or begins it"
            )


def _languages(procedure: Procedure) -> tuple[str, ...]:
    return (procedure.file.language, *procedure.file.translations)
