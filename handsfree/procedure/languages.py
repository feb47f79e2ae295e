"""The language a procedure is written in: English ships; the file of any other stands beside the procedure."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from handsfree.documents import Document, Place, read_document, validate
from handsfree.lexicon.catalogue import ENGLISH, Catalogue, english, english_content
from handsfree.lexicon.checks import Fault, faults, lacking
from handsfree.problem import Problem

MOST_TOLD = 4
"""Faults of a language's file that are told at once."""


def load_language(
    language: str, folder: Path, asked_at: Place, read: Callable[[Path], Document] = read_document
) -> tuple[Catalogue, Document | None]:
    """Return the catalogue of a language and its document, None for the one that ships.

    Raises Problem at `asked_at` when there is no such language, and with file:line when its file lacks a key
    that the English one has, or says what no catalogue may.
    """
    if language == ENGLISH:
        return english(), None
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
    return read_language(document, language), document


def read_language(document: Document, language: str) -> Catalogue:
    """Return the catalogue that a document holds; Problem with file:line as `load_language`."""
    if not isinstance(document.content, dict):
        raise Problem("this is no language: it holds no keys", where=str(document.place(())))
    _refuse(document, list(lacking(document.content, english_content())))
    catalogue = validate(Catalogue, document)
    if catalogue.language != language:
        what = f"the language is called {catalogue.language!r} but asked for as {language!r}"
        raise Problem(what, where=str(document.place(("language",))), remedy="give the file and the key one name")
    _refuse(document, list(faults(catalogue)))
    return catalogue


def _refuse(document: Document, found: list[Fault]) -> None:
    if found:
        told = "; ".join(sentence for _, sentence in found[:MOST_TOLD])
        more = f"; and {len(found) - MOST_TOLD} more" if len(found) > MOST_TOLD else ""
        remedy = "see what english.yaml of the program has there"
        raise Problem(told + more, where=str(document.place(found[0][0])), remedy=remedy)
