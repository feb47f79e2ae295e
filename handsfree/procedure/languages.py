"""The languages of a procedure: those that ship with the program, and any other in files beside the procedure."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cache, lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from handsfree.documents import Document, NoSuchFile, Place, read_document, validate
from handsfree.lexicon.catalogue import ENGLISH, Catalogue, english_content, laid_over, with_facts
from handsfree.lexicon.checks import Fault, faults, lacking
from handsfree.problem import Problem
from handsfree.procedure.trades import MOST_KEPT, TradeData, trade_data
from handsfree.trades import DEFAULT_TRADE
from handsfree.trades.general import GENERAL

_CORE = Path(str(resources.files("handsfree.lexicon")))

MOST_TOLD = 4
"""Faults of a language's file that are told at once."""


def english_words(of: TradeData | str = DEFAULT_TRADE) -> dict[str, Any]:
    """Return the English words for a trade, core and own: what any other language must hold too."""
    return _words(trade_data(of) if isinstance(of, str) else of)


def english(of: TradeData | str = DEFAULT_TRADE) -> Catalogue:
    """Return the English catalogue of a trade; Problem with file:line at a fault in the words of an author's."""
    return _english(trade_data(of) if isinstance(of, str) else of)


@lru_cache(maxsize=MOST_KEPT)
def _words(of: TradeData) -> dict[str, Any]:
    return laid_over(english_content(), of.english.content)


@lru_cache(maxsize=MOST_KEPT)
def _english(of: TradeData) -> Catalogue:
    if not of.own:
        return catalogue_of(english_words(of), of)
    document = of.english
    if not isinstance(document.content, dict):
        raise Problem("this is no language: it holds no keys", where=str(document.place(())))
    _refuse(document, list(_unsaid(of)))
    return _validated(document, english_words(of), of)


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
        return english(of), ()
    core, own = folder / f"{language}.yaml", folder / f"{language}-{of.name}.yaml"
    found = tuple(document for file in (core, own) if (document := _beside(file, read)) is not None)
    if not found and of.own and (words := _beside(of.folder.file(f"{language}.yaml"), read)) is not None:
        return read_language(_both(_shipped_core(language, of.name, asked_at), words), language, of), (words,)
    if not found:
        return _shipped_language(language, of, asked_at), ()
    if len(found) == 1 and Path(found[0].file).name == own.name:
        return read_language(_both(_shipped_core(language, of.name, asked_at), found[0]), language, of), found
    return read_language(found[0] if len(found) == 1 else _both(*found), language, of), found


def _beside(file: Path, read: Callable[[Path], Document]) -> Document | None:
    try:
        return read(file)
    except NoSuchFile:
        return None


def _shipped_language(language: str, of: TradeData, asked_at: Place) -> Catalogue:
    """Return the words of a language that ships for a trade; Problem at the place that names it when none does."""
    core = _shipped_core(language, of.name, asked_at)
    if of.own or not of.folder.file(f"{language}.yaml").is_file():
        raise _no_such_language(language, of.name, asked_at)
    return _shipped(core.file, language, of.name)


def _shipped_core(language: str, of: str, asked_at: Place) -> Document:
    file = _CORE / f"{language}.yaml"
    if not file.is_file():
        raise _no_such_language(language, of, asked_at)
    return read_document(file)


@cache
def _shipped(core: str, language: str, of: str) -> Catalogue:
    trade = trade_data(of)
    both = _both(read_document(Path(core)), read_document(trade.folder.file(f"{language}.yaml")))
    return read_language(both, language, trade)


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
    _refuse(document, list(lacking(document.content, english_words(of), of.file.at_any_moment)))
    return _validated(document, document.content, of, language)


def _validated(
    document: Document, content: Mapping[str, Any], of: TradeData, language: str = ENGLISH
) -> Catalogue:
    """Return the catalogue of a document's words, which `content` holds whole; Problem at the first fault."""
    try:
        whole = _whole(content, of)
    except ValueError as error:
        raise Problem(str(error), where=str(document.place(("quantities",)))) from error
    catalogue = validate(Catalogue, document, whole)
    if catalogue.language != language:
        what = f"the language is called {catalogue.language!r} but asked for as {language!r}"
        raise Problem(what, where=str(document.place(("language",))), remedy="give the file and the key one name")
    _refuse(document, list(faults(catalogue)))
    return catalogue


def _unsaid(of: TradeData) -> Iterator[Fault]:
    """Yield what of a trade its English words have no saying for: it would fail when it is first to be said."""
    words = english_words(of)
    calculated = (name for name in of.functions.calculations if name not in GENERAL)
    needed = {
        "quantities": tuple(of.quantities),
        "limits": tuple(of.file.stops),
        "limit_of": tuple(of.file.stops),
        "relations": tuple(of.relations),
        "subjects": tuple(name for name in calculated if name not in of.quantities),
    }
    for section, names in needed.items():
        held = words.get(section) or {}
        missing = [name for name in names if name not in held]
        if missing:
            yield (section,), f"{section} lacks {', '.join(missing)}"


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
