"""Texts in several languages under one id: `{english: Close it., german: Zumachen.}` where one text would stand.

A file names its other languages under `translations`. Its gates are one procedure: only what is said, heard and
shown differs. A text that a language lacks is told with its place; no visit is led where a stop lacks its order.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from handsfree.documents import Document, Path_, Place, walk
from handsfree.gates import Gate
from handsfree.lexicon.catalogue import ENGLISH
from handsfree.problem import Problem
from handsfree.procedure.file import ProcedureFile
from handsfree.procedure.parameters import Parameter, filled, named_in, parameters_of, without_parameters

TEXTS: tuple[tuple[str, ...], ...] = (
    ("title",),
    ("purpose",),
    ("cautions",),
    ("cautions", "*"),
    ("proves", "*", "says"),
    ("things", "*", "said"),
    ("things", "*", "altered"),
    ("things", "*", "restored"),
    ("gates", "*", "title"),
    ("gates", "*", "prompt"),
    ("gates", "*", "photo"),
    ("gates", "*", "script"),
    ("gates", "*", "done"),
    ("gates", "*", "done", "*"),
    ("gates", "*", "answers", "*", "heard"),
    ("gates", "*", "answers", "*", "heard", "*"),
)
"""Where a text, or a list of texts, is said, heard or shown; `*` is any name or number."""

VALUES: tuple[tuple[str, ...], ...] = (
    ("parameters", "*"),
    ("gates", "*", "parameters", "*"),
    ("gates", "*", "each", "*", "*"),
)
"""Where a value is written that a text may be made of."""

ORDER = ("gates", "*", "script")
"""The order that a stop gives: no language that a visit is led in may lack it."""


@dataclass(frozen=True)
class Untranslated:
    """A text that a language lacks, and where it is to be written."""

    language: str
    text: str
    place: Place
    order: bool
    """Whether it is the order of a stop, which no language of a visit may lack."""


def languages_of(document: Document) -> tuple[str, ...]:
    """Return the languages of a file, its own first; what is no name is left to the reading of the file."""
    content = document.content if isinstance(document.content, dict) else {}
    others = content.get("translations")
    own = content.get("language", ENGLISH)
    return (str(own), *(str(name) for name in others)) if isinstance(others, dict | list) else (str(own),)


@dataclass
class OneLanguage:
    """The files of a procedure, put into one of its languages as they are read, the file that is run first."""

    asked: str | None = None
    """The language asked for; the file's own when None."""
    languages: tuple[str, ...] = ()
    """Those of the file that is run, its own first."""
    untranslated: list[Untranslated] = field(default_factory=list)
    _states: dict[str, dict[str, str]] = field(default_factory=dict)
    """Thing -> word of a state in the file's own language -> that in the one led in."""

    @property
    def led(self) -> str:
        """The language that the procedure is led in."""
        return self.asked or self.languages[0]

    def filled(
        self, document: Document, given: Mapping[str, Parameter], optional: Mapping[str, Parameter]
    ) -> tuple[Document, Any]:
        """Return a document in the language led in, and its content with the parameters filled.

        Raises Problem as `in_language`, `parameters_of` and `filled` do, and when there is no such language.
        """
        if not self.languages:
            self.languages = languages_of(document)
            if self.led not in self.languages:
                what = f"there is no {self.led} in this procedure; it has: {', '.join(self.languages)}"
                raise Problem(what, where=document.file, remedy="choose one of these, or translate it")
        chosen = in_language(document, self.led)
        parameters = parameters_of(chosen, given, optional)
        found, content = filled(chosen, parameters)
        if self.led != self.languages[0]:
            self.untranslated += untranslated(chosen, parameters, self.led)
            self._remember(in_language(document, self.languages[0]), content)
        return found, content

    def _remember(self, own: Document, content: Any) -> None:
        """Keep what the states of the things are called in both languages."""
        things = own.content.get("things") if isinstance(own.content, dict) else None
        for name, thing in things.items() if isinstance(things, dict) else ():
            if isinstance(thing, dict) and isinstance(content["things"][name], dict):
                led = content["things"][name]
                self._states[name] = {
                    str(thing.get(state)): str(led.get(state)) for state in ("altered", "restored")
                }

    def begun(self, file: ProcedureFile) -> ProcedureFile:
        """Return a file whose `begins` names the states in the language led in."""
        return file.model_copy(update={"begins": self._led(file.begins)}) if self._states else file

    def needing(self, gate: Gate) -> Gate:
        """Return a gate whose `needs` names the states in the language led in."""
        return gate.model_copy(update={"needs": self._led(gate.needs)}) if self._states and gate.needs else gate

    def _led(self, states: Mapping[str, str]) -> dict[str, str]:
        return {thing: self._states.get(thing, {}).get(state, state) for thing, state in states.items()}


def in_language(document: Document, language: str) -> Document:
    """Return a document with its texts in one language, each at the place where that text is written.

    A text that this language lacks stays in the file's own. Raises Problem at the line of a translation into a
    language that the file does not name, and of one that lacks the file's own.
    """
    languages = languages_of(document)
    places, keys = dict(document.places), dict(document.keys)
    translated: set[Path_] = set()

    def put(value: Any, path: Path_) -> Any:
        if isinstance(value, dict) and _stands_at(path, (*TEXTS, *VALUES)):
            chosen = _chosen(document, value, path, languages, language)
            if chosen == language:
                translated.add(path)
            for found in (places, keys):
                below = [one for one in found if one[: len(path) + 1] == (*path, chosen)]
                found.update({(*path, *one[len(path) + 1 :]): found[one] for one in below})
            return value[chosen]
        if isinstance(value, dict):
            return {key: put(item, (*path, key)) for key, item in value.items()}
        if isinstance(value, list):
            return [put(item, (*path, number)) for number, item in enumerate(value)]
        return value

    content = put(document.content, ())
    return replace(document, content=content, places=places, keys=keys, translated=frozenset(translated))


def _chosen(
    document: Document, value: Mapping[str, Any], path: Path_, languages: tuple[str, ...], language: str
) -> str:
    """Return which language of a text is taken: the one asked for where it is there, else the file's own."""
    for name in value:
        if name not in languages:
            what = f"{name!r} is no language of this file, which has: {', '.join(languages)}"
            remedy = "correct the name, or add the language under `translations`"
            raise Problem(what, where=str(document.key_place((*path, name))), remedy=remedy)
    if languages[0] not in value:
        what = f"the text lacks its {languages[0]}, the language of the file"
        remedy = f"write `{languages[0]}: …` beside the others"
        raise Problem(what, where=str(document.place(path)), remedy=remedy)
    return language if language in value else languages[0]


def untranslated(document: Document, parameters: Mapping[str, Parameter], language: str) -> Iterator[Untranslated]:
    """Yield each text of a document, as `in_language` gave it, that has no translation, where it is to be written.

    A text made of a parameter is translated where the parameter's value is. Raises Problem where a translated
    value stands for anything but a text.
    """
    told: set[tuple[Place, bool]] = set()
    for path, text in walk(document.content):
        if not isinstance(text, str) or _stands_at(path, VALUES):
            continue
        named = [parameters[name] for name in named_in(text) if name in parameters]
        if not _stands_at(path, TEXTS):
            if any(one.translated for one in named):
                what = f"{text!r} is no text, and its value is translated"
                remedy = "give the id and the text parameters of their own"
                raise Problem(what, where=str(document.place(path)), remedy=remedy)
            continue
        lacking = [(one.value, one.place) for one in named if _in_words(one.value) and not one.translated]
        if not any(path[:end] in document.translated for end in range(1, len(path) + 1)):
            lacking += [(text, document.place(path))] if _in_words(without_parameters(text)) else []
        for lacks, place in lacking:
            order = _stands_at(path, (ORDER,))
            if (place, order) not in told:
                told.add((place, order))
                yield Untranslated(language, lacks, place, order)


def _in_words(value: object) -> bool:
    """Say whether a value is a text with words in it: a number, a sign or an arrow needs no translation."""
    return isinstance(value, str) and any(letter.isalpha() for letter in value)


def _stands_at(path: Path_, patterns: tuple[tuple[str, ...], ...]) -> bool:
    return any(
        len(path) == len(pattern) and all(part in {"*", here} for part, here in zip(pattern, path, strict=True))
        for pattern in patterns
    )
