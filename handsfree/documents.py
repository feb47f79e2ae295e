"""YAML 1.2 read strictly: every value keeps its line, numbers stay exact, nothing is shared or repeated.

The file is composed into nodes, never constructed by the YAML library, so that a number is the decimal
that was written ("9.30" stays 9.30), a duplicate key is an error, and an alias cannot explode.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails
from ruamel.yaml import YAML
from ruamel.yaml.error import ReusedAnchorWarning, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from handsfree.plain import plainly
from handsfree.problem import Problem
from handsfree.regular_files import open_regular
from handsfree.yaml_faults import said

LARGEST_FILE = 1_000_000
"""Bytes; a procedure of 500 gates is under 200 kB, and a larger file is a mistake or an attack."""

DEEPEST = 40
"""Levels of nesting; the language needs seven."""

MOST_VALUES = 40_000
"""Commas and line ends; the longest procedure that ships has under 4,000, and each costs the parser 0.1 ms."""

MOST_NESTED = 4_000
"""Levels that the parser in C is given at most, were all brackets nested: it has room for some 19,000."""

LONGEST_NUMBER = 40
"""Characters; no instrument or manual has more, and Python refuses to convert some thousands."""

Path_ = tuple[str | int, ...]
Model = TypeVar("Model", bound=BaseModel)

_INTEGER = re.compile(r"[-+]?(0|[1-9][0-9]*)\Z")
_DECIMAL = re.compile(r"[-+]?(0|[1-9][0-9]*)\.[0-9]+\Z")
_READ_ALIKE = re.compile(
    r"[\n\x20-\x25\x27-\x29\x2b-\x5b\x5d-\x7e\xa0-\u2027\u202a-\ud7ff\ue000-\ufefe\uff00-\uffef]*"
)
"""No escapes, anchors, aliases and tabs, no line ends but the line feed, no characters that few files hold."""

_CORE_TAGS = {"str", "int", "float", "bool", "null", "timestamp", "map", "seq"}
_WORDS: dict[str, bool | None] = {"true": True, "false": False, "null": None, "~": None, "": None}


@dataclass(frozen=True)
class Place:
    """A position in a file, counted from 1 as editors do."""

    file: str
    line: int
    column: int
    used_at: str = ""
    """For a value that a parameter gives: where it is used."""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"

    def told(self, what: str) -> str:
        """Return what is wrong here, with the place of its use where a parameter gave the value."""
        return f"{what} (as it is used at {self.used_at})" if self.used_at else what


@dataclass(frozen=True)
class Document:
    """A file's content as plain values, with the place of each."""

    file: str
    text: str
    content: Any
    places: dict[Path_, Place]
    keys: dict[Path_, Place] = field(default_factory=dict)
    """The place of the key itself of each value that has one."""
    given: Mapping[Path_, Place] = field(default_factory=dict)
    """For each value that a parameter fills: where the parameter's value stands, maybe in another file."""
    translated: frozenset[Path_] = frozenset()
    """The texts that stand in several languages, of which one was asked for and is there."""

    def key_place(self, path: Path_) -> Place:
        """Return the place of the key at the path, or as `place`."""
        return self.keys.get(path) or self.place(path)

    def place(self, path: Path_) -> Place:
        """Return the place of the value at the path, or of its nearest parent that has one.

        What a parameter gave stands where the parameter's value is written.
        """
        while path and path not in self.places:
            path = path[:-1]
        here = self.places.get(path, Place(self.file, 1, 1))
        return replace(self.given[path], used_at=str(here)) if path in self.given else here


class NoSuchFile(Problem):
    """There is no file of that name: who asked for it can say where it is named."""


def read_document(path: Path) -> Document:
    """Read a YAML file; raise Problem with file:line:column when it cannot be read or is not strict."""
    try:
        with open_regular(path, through_links=True) as stream:
            data = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise (NoSuchFile if isinstance(error, FileNotFoundError) else Problem)(
            f"cannot read this file: {error.strerror}",
            where=str(path),
            remedy="check the name and its permissions",
        ) from error
    if len(data) > LARGEST_FILE:
        raise Problem(f"the file has more than {LARGEST_FILE:,} bytes", where=str(path), remedy="keep it shorter")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise Problem("the file is not UTF-8 text", where=f"{path}:{line}", remedy="save it as UTF-8") from error
    return parse_document(text, str(path))


def parse_document(text: str, file: str) -> Document:
    """Parse YAML text as `read_document` does; `file` only names it in messages."""
    _refuse_depth(text, file)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ReusedAnchorWarning)  # anchors are refused below, with their place
            node = _composed(text)
    except YAMLError as error:
        what, remedy = said(f"{getattr(error, 'context', None)}: {getattr(error, 'problem', None) or error}")
        where = f"{file}:{_place_of(error, text)}"
        raise Problem(f"this is not valid YAML: {what}", where=where, remedy=remedy) from error
    except (ValueError, RecursionError) as error:
        raise Problem("this is not valid YAML", where=f"{file}:1", remedy="correct the file") from error
    if node is None:
        raise Problem("the file is empty", where=f"{file}:1", remedy="start from `handsfree template`")
    found = _Found(file)
    content = _value(node, (), found)
    return Document(file, text, content, found.places, found.keys)


def _place_of(error: YAMLError, text: str) -> str:
    """Return line and column of a fault, counted from 1; the line alone of a character that cannot be read."""
    mark = getattr(error, "problem_mark", None)
    if mark is not None:
        return f"{mark.line + 1}:{mark.column + 1}"
    before = text[: getattr(error, "position", 0)]
    return str(before.count("\n") + 1)


def _composed(text: str) -> Node | None:
    """Return the root of YAML text, or None for an empty one; YAMLError names what is wrong.

    The parser in C takes a tenth of the time. It reads YAML 1.1 and forgets the anchors of scalars, so it is not
    given what the two versions read in different ways; nor what could be nested so deeply that it ends the
    process. What it refuses is for the other one to judge.
    """
    nested = (
        text.count("[") + text.count("{") + max(line.count("- ") + line.count("? ") for line in text.split("\n"))
    )
    alike = nested <= MOST_NESTED and bool(_READ_ALIKE.fullmatch(text)) and " \n" not in text
    root: Node | None = None
    if alike:
        try:
            root = YAML(typ="safe", pure=False).compose(text)
        except YAMLError:
            alike = False
    if not alike:
        root = YAML(typ="safe", pure=True).compose(text)
    return root


def validate(
    model: type[Model],
    document: Document,
    content: Any | None = None,
    at: Path_ = (),
    remedy: str = "see the description of the language",
) -> Model:
    """Turn the content (the whole document by default) into a model; raise Problem naming the first fault."""
    try:
        return model.model_validate(document.content if content is None else content)
    except ValidationError as error:
        place, what = faults(error, document, at)[0]
        raise Problem(what, where=str(place), remedy=remedy) from error


def faults(error: ValidationError, document: Document, at: Path_ = ()) -> list[tuple[Place, str]]:
    """Return each fault of a failed validation as (place, sentence), in the file's order."""
    found = []
    items = error.errors(include_url=False, include_context=True)
    meant = _meant(items)
    for item in items:
        if item["loc"] in meant.values():
            continue  # its key is there, misspelled
        place, name = _pointed_at(document, at, item)
        message = f"did you mean {meant[item['loc']][-1]!r}?" if item["loc"] in meant else plainly(item)
        if item["type"] == "extra_forbidden" and item.get("input") is None and " " in str(item["loc"][-1]):
            message = 'in {...} a text with a comma stands in quotes: title: "Closed, and dry"'
        found.append((place, place.told(f"{name}: {message}{_shown(item.get('input'))}" if name else message)))
    return sorted(found, key=lambda fault: (fault[0].line, fault[0].column))


def _shown(given: object) -> str:
    """Return a value as the file has it, and nothing for a whole block."""
    if isinstance(given, bool):
        return f" (found {str(given).lower()})"
    if isinstance(given, Decimal):
        return f" (found {given:f})"
    if isinstance(given, str):
        return f" (found '{given}')"
    return f" (found {given})" if isinstance(given, int) else ""


def _meant(items: list[ErrorDetails]) -> dict[tuple[int | str, ...], tuple[int | str, ...]]:
    """Return each key that is none -> the key that is lacking beside it and spelled nearly so."""
    found = {}
    for item in items:
        if item["type"] == "extra_forbidden":
            *block, key = item["loc"]
            beside = [i["loc"][-1] for i in items if i["type"] == "missing" and list(i["loc"][:-1]) == block]
            near = get_close_matches(str(key), map(str, beside), 1)
            if near:
                found[item["loc"]] = (*block, near[0])
    return found


def _pointed_at(document: Document, at: Path_, item: ErrorDetails) -> tuple[Place, str]:
    """Return the place of the word that is wrong, and the keys that lead to it without those of the list above."""
    location = tuple(part for part in item["loc"])
    path = at + _existing(document, at, location)
    lacking = location[-1:] if item["type"] == "missing" else ()
    names = [str(part) for part in (*path, *lacking) if isinstance(part, str)]
    name = ".".join(names[-2:])
    if item["type"] == "extra_forbidden" or location[-1:] == ("[key]",):
        return document.key_place(path), name
    if item["type"] == "union_tag_invalid":
        kind = str(item["ctx"]["discriminator"]).strip("'")
        return document.place((*path, kind) if (*path, kind) in document.places else path), name
    if item["type"] == "value_error":  # said of a whole block: the first of its keys that the sentence names
        for word in re.findall(r"[a-z_]+", plainly(item)):
            if (*path, word) in document.keys:
                return document.key_place((*path, word)), name
    return document.place(path), name


def all_faults(model: type[BaseModel], document: Document) -> list[tuple[Place, str]]:
    """Return every fault of a document as (place, sentence), values that are parameters (`$name`) left out."""
    try:
        model.model_validate(document.content)
    except ValidationError as error:
        told = faults(error, document)
        return [(place, what) for place, what in told if "(found '$" not in what]
    return []


def _existing(document: Document, at: Path_, location: Path_) -> Path_:
    """Drop the parts of a validation path that stand for union tags and not for keys of the file."""
    path: Path_ = ()
    for part in location:
        if (*at, *path, part) in document.places:
            path = (*path, part)
    return path


def _refuse_depth(text: str, file: str) -> None:
    values = text.count(",") + text.count("\n")
    if values > MOST_VALUES:
        what = f"the file holds some {values:,} values, and {MOST_VALUES:,} are the most"
        raise Problem(what, where=file, remedy="keep it shorter")
    for number, line in enumerate(text.splitlines(), 1):
        if line.count("[") + line.count("{") > DEEPEST * 4 or len(line) - len(line.lstrip(" ")) > DEEPEST * 8:
            raise Problem("this line is nested too deeply", where=f"{file}:{number}", remedy="flatten it")


@dataclass(frozen=True)
class _Found:
    """What is found while the nodes of a file are read."""

    file: str
    places: dict[Path_, Place] = field(default_factory=dict)
    keys: dict[Path_, Place] = field(default_factory=dict)
    seen: set[int] = field(default_factory=set)

    def place(self, node: Node) -> Place:
        return Place(self.file, node.start_mark.line + 1, node.start_mark.column + 1)


def _value(node: Node, path: Path_, found: _Found) -> Any:
    place = found.places[path] = found.place(node)
    if id(node) in found.seen or getattr(node, "anchor", None):
        raise Problem("anchors and aliases are not allowed", where=str(place), remedy="write the value out")
    found.seen.add(id(node))
    tag = str(node.tag).removeprefix("tag:yaml.org,2002:")
    if tag not in _CORE_TAGS:
        raise Problem(f"the tag {node.tag!r} is not allowed", where=str(place), remedy="remove it")
    if len(path) > DEEPEST:
        raise Problem("this is nested too deeply", where=str(place), remedy="flatten it")
    if isinstance(node, MappingNode):
        return _mapping(node, path, found)
    if isinstance(node, SequenceNode):
        return [_value(item, (*path, i), found) for i, item in enumerate(node.value)]
    assert isinstance(node, ScalarNode)  # a composed node is one of three kinds
    return _scalar(node, place, tag)


def _mapping(node: MappingNode, path: Path_, found: _Found) -> dict[str, Any]:
    content: dict[str, Any] = {}
    for key_node, value_node in node.value:
        place = found.place(key_node)
        where = str(place)
        if not isinstance(key_node, ScalarNode) or key_node.anchor:
            raise Problem("a key must be a plain word", where=where, remedy="write `key: value`")
        if key_node.tag == "tag:yaml.org,2002:merge":
            raise Problem("merge keys are not allowed", where=where, remedy="write the values out")
        key = str(key_node.value)
        if key in content:
            raise Problem(f"the key {key!r} stands twice", where=where, remedy="keep one of them")
        found.keys[(*path, key)] = place
        content[key] = _value(value_node, (*path, key), found)
    return content


def _scalar(node: ScalarNode, place: Place, tag: str) -> str | int | bool | Decimal | None:
    text = str(node.value)
    if tag == "str" or node.style in {"'", '"', "|", ">"}:
        return text
    if text in _WORDS:
        return _WORDS[text]
    if len(text) > LONGEST_NUMBER and (_INTEGER.match(text) or _DECIMAL.match(text)):
        raise Problem("this number is too long", where=str(place), remedy=f"at most {LONGEST_NUMBER} characters")
    if _INTEGER.match(text):
        return int(text)
    if _DECIMAL.match(text):
        return Decimal(text)
    return text


def walk(content: Any, path: Path_ = ()) -> Iterator[tuple[Path_, Any]]:
    """Yield every value of a document's content with its path, parents first."""
    yield path, content
    if isinstance(content, dict):
        for key, value in content.items():
            yield from walk(value, (*path, key))
    elif isinstance(content, list):
        for i, value in enumerate(content):
            yield from walk(value, (*path, i))
