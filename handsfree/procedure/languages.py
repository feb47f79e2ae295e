"""The languages of a procedure: those that ship with the program, and any other in files beside the procedure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from handsfree.documents import Document, NoSuchFile, Place, read_document, validate
from handsfree.lexicon.catalogue import ENGLISH, Catalogue, english_content, laid_over, with_facts
from handsfree.lexicon.checks import Fault, faults, lacking
from handsfree.problem import Problem
from handsfree.procedure.trades import TradeData, trade_data
from handsfree.trades import DEFAULT_TRADE

_CORE, _TRADES = (Path(str(resources.files(f"handsfree.{name}"))) for name in ("lexicon", "trades"))

MOST_TOLD = 4
"""Faults of a language's file that are told at once."""


@cache
def english_words(of: str = DEFAULT_TRADE) -> dict[str, Any]:
    """Return the English words for a trade, core and own: what any other language must hold too."""
    return laid_over(english_content(), trade_data(of).english.content)


@cache
def english(of: str = DEFAULT_TRADE) -> Catalogue:
    """Return the English catalogue of a trade."""
    return catalogue_of(english_words(of), trade_data(of))


def catalogue_of(content: Mapping[str, Any], of: TradeData) -> Catalogue:
    """Return the catalogue of a language's words; pydantic's ValidationError, or ValueError as `with_facts`."""
    return Catalogue.model_validate(_whole(content, of))


def load_language(
    language: str, of: TradeData, folder: Path, asked_at: Place, read: Callable[[Path], Document] = read_document
) -> tuple[Catalogue, tuple[Document, ...]]:
    """Return the catalogue of a language for a trade, and the documents beside the procedure that it is from.

    `NAME.yaml` holds the words, those of the trade among them unless `NAME-TRADE.yaml` stands beside it; what does
    not stand there is taken from the program, if it ships. Raises Problem at `asked_at` when there is no such
    language, and with file:line when it lacks a key that the English one has, or says what no catalogue may.
    """
    if language == ENGLISH:
        return english(of.name), ()
    core, own = folder / f"{language}.yaml", folder / f"{language}-{of.name}.yaml"
    found = tuple(document for file in (core, own) if (document := _beside(file, read)) is not None)
    if not found:
        return _shipped_language(language, of.name, asked_at), ()
    if len(found) == 1 and Path(found[0].file).name == own.name:
        return read_language(_both(_shipped_core(language, of.name, asked_at), found[0]), language, of), found
    return read_language(found[0] if len(found) == 1 else _both(*found), language, of), found


def _beside(file: Path, read: Callable[[Path], Document]) -> Document | None:
    try:
        return read(file)
    except NoSuchFile:
        return None


def _shipped_language(language: str, of: str, asked_at: Place) -> Catalogue:
    """Return the words of a language that ships for a trade; Problem at the place that names it when none does."""
    core = _shipped_core(language, of, asked_at)
    if not _words_of_trade(language, of).is_file():
        raise _no_such_language(language, of, asked_at)
    return _shipped(core.file, language, of)


def _shipped_core(language: str, of: str, asked_at: Place) -> Document:
    file = _CORE / f"{language}.yaml"
    if not file.is_file():
        raise _no_such_language(language, of, asked_at)
    return read_document(file)


@cache
def _shipped(core: str, language: str, of: str) -> Catalogue:
    both = _both(read_document(Path(core)), read_document(_words_of_trade(language, of)))
    return read_language(both, language, trade_data(of))


def _words_of_trade(language: str, of: str) -> Path:
    return _TRADES / of / f"{language}.yaml"


def _no_such_language(language: str, of: str, asked_at: Place) -> Problem:
    return Problem(
        f"there is no language {language!r} for {of}: it does not ship, and neither {language}.yaml nor "
        f"{language}-{of}.yaml stands beside the procedure",
        where=str(asked_at),
        remedy="write it after english.yaml, or write `english`",
    )


def read_language(document: Document, language: str, of: TradeData) -> Catalogue:
    """Return the catalogue that a document holds; Problem with file:line as `load_language`."""
    if not isinstance(document.content, dict):
        raise Problem("this is no language: it holds no keys", where=str(document.place(())))
    _refuse(document, list(lacking(document.content, english_words(of.name), of.file.at_any_moment)))
    try:
        whole = _whole(document.content, of)
    except ValueError as error:
        raise Problem(str(error), where=str(document.place(("quantities",)))) from error
    catalogue = validate(Catalogue, document, whole)
    if catalogue.language != language:
        what = f"the language is called {catalogue.language!r} but asked for as {language!r}"
        raise Problem(what, where=str(document.place(("language",))), remedy="give the file and the key one name")
    _refuse(document, list(faults(catalogue)))
    return catalogue


def _whole(content: Mapping[str, Any], of: TradeData) -> dict[str, Any]:
    """Return a language's words with what is true of the trade in any language."""
    anywhere = {"taken_back": of.file.taken_back, "over_range": of.file.over_range, "stops": of.stops}
    return {**with_facts(content, of.facts), **anywhere}


def _both(core: Document, words: Document) -> Document:
    """Return a core's document with a trade's laid over it; every value keeps its place in its own file."""
    content = laid_over(core.content, words.content) if _mappings(core, words) else words.content
    return Document(core.file, core.text, content, {**core.places, **words.places})


def _mappings(*documents: Document) -> bool:
    return all(isinstance(document.content, dict) for document in documents)


def _refuse(document: Document, found: list[Fault]) -> None:
    if found:
        told = "; ".join(sentence for _, sentence in found[:MOST_TOLD])
        more = f"; and {len(found) - MOST_TOLD} more" if len(found) > MOST_TOLD else ""
        remedy = "see what english.yaml of the program has there"
        raise Problem(told + more, where=str(document.place(found[0][0])), remedy=remedy)
