"""The language a procedure is written in: English ships; the files of any other stand beside the procedure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.documents import Document, Place, read_document, validate
from handsfree.lexicon.catalogue import ENGLISH, Catalogue, english_content, laid_over, with_facts
from handsfree.lexicon.checks import Fault, faults, lacking
from handsfree.problem import Problem
from handsfree.procedure.trades import TradeData, trade_data
from handsfree.trades import DEFAULT_TRADE

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
    """Return the catalogue of a language for a trade, and the documents it was read from, none for English.

    `NAME.yaml` holds the words, those of the trade among them unless `NAME-TRADE.yaml` stands beside it. Raises
    Problem at `asked_at` when there is no such language, and with file:line when it lacks a key that the English
    one has, or says what no catalogue may.
    """
    if language == ENGLISH:
        return english(of.name), ()
    file = folder / f"{language}.yaml"
    try:
        document = read(file)
    except Problem as problem:
        if file.exists():
            raise
        what = f"there is no language {language!r}: {file.name} does not stand beside the procedure"
        raise Problem(
            what, where=str(asked_at), remedy="write it after english.yaml, or write `english`"
        ) from problem
    own = folder / f"{language}-{of.name}.yaml"
    if not own.exists():
        return read_language(document, language, of), (document,)
    words = read(own)
    return read_language(_both(document, words), language, of), (document, words)


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
