"""What is asked of every catalogue: whole beside the English one, told apart, sayable, never stopping itself."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from string import Formatter
from typing import Any, Final

from handsfree.lexicon.catalogue import Catalogue

Path = tuple[str | int, ...]
Fault = tuple[Path, str]

OPTIONAL: Final = frozenset({"dictionary", "pronunciations", "quantities", "units", "turns", "typed", "waits"})
"""Sections that may hold other keys than the English file: what a procedure uses of them is proven there."""

OWN: Final = frozenset({"numbers", "spelling", "wording"})
"""Sections that every language builds in its own way; their shape is checked when they are read."""

NEED_NOT: Final = frozenset({"typed"})
"""Keys and sections that a language may leave out."""


def lacking(
    content: Mapping[str, Any], reference: Mapping[str, Any], least: Collection[str] = ()
) -> Iterator[Fault]:
    """Yield what a language lacks or has too much beside the English words, blanks of sayings included.

    `least` names the quantities that are understood at any moment: a language has words for each.
    """
    yield from (((section,), f"{section!r} is no section") for section in content if section not in reference)
    for section, wanted in reference.items():
        if section in OPTIONAL or (section in NEED_NOT and section not in content):
            continue
        if section not in content:
            yield (), f"it lacks {section!r}"
        elif section not in OWN:
            yield from _compared(content[section], wanted, (section,))
    missing = [name for name in least if name not in (content.get("quantities") or {})]
    if missing:
        yield ("quantities",), f"quantities lacks {', '.join(missing)}, understood at any moment"


def _compared(given: Any, wanted: Any, path: Path) -> Iterator[Fault]:
    if isinstance(wanted, Mapping) and isinstance(given, Mapping):
        missing = [str(key) for key in wanted if str(key) not in {str(known) for known in given} | NEED_NOT]
        if missing:
            yield path, f"{'.'.join(map(str, path))} lacks {', '.join(missing)}"
        for key, value in given.items():
            english = {str(known): one for known, one in wanted.items()}.get(str(key))
            if english is None:
                yield (*path, key), f"{key!r} is no key of {'.'.join(map(str, path))}"
            else:
                yield from _compared(value, english, (*path, key))
    elif isinstance(wanted, str) and isinstance(given, str) and blanks(given) != blanks(wanted):
        told = ", ".join(f"{{{name}}}" for name in sorted(blanks(wanted))) or "no blanks"
        yield path, f"{given!r} must have {told}"


def blanks(saying: str) -> frozenset[str]:
    """Return the names of a saying's blanks."""
    try:
        return frozenset(name for _, name, _, _ in Formatter().parse(saying) if name is not None)
    except ValueError:
        return frozenset({"a closing brace"})


def faults(catalogue: Catalogue) -> Iterator[Fault]:
    """Yield what is wrong with a catalogue's own words."""
    yield from _heard_twice(catalogue)
    yield from _stopping(catalogue)
    yield from _without_words(catalogue)
    if catalogue.dictionary is not None:
        known = catalogue.pronounced({})
        for path, text in heard(catalogue):
            unknown = known.unknown(text.split())
            if unknown:
                yield path, f"no pronunciation is known for {', '.join(unknown)}"


def heard(catalogue: Catalogue) -> Iterator[tuple[Path, str]]:
    """Yield every phrase that is heard, with its place."""
    for section in ("everywhere", "answers", "rates", "turns"):
        for name, texts in getattr(catalogue, section).items():
            yield from (((section, name, number), text) for number, text in enumerate(texts))
    for section in ("hazards", "quantities", "units"):
        for name, entry in getattr(catalogue, section).items():
            yield from (((section, name, "heard", number), text) for number, text in enumerate(entry.heard))
    for name, hazard in catalogue.hazards.items():
        yield from ((("hazards", name, "alone", number), text) for number, text in enumerate(hazard.alone))
    yield from ((("numbers",), word) for word in sorted(catalogue.numbers.words()))
    yield from ((("spelling",), words) for words in catalogue.spelling.sign_of)


def _heard_twice(catalogue: Catalogue) -> Iterator[Fault]:
    """Yield phrases of two meanings where both can be meant; quantities are told apart by the gate that asks."""
    meanings: dict[str, tuple[str, str]] = {}
    for path, text in heard(catalogue):
        section, name = str(path[0]), str(path[1]) if len(path) > 1 else ""
        if section in {"quantities", "units", "numbers", "spelling"}:
            continue
        first = meanings.setdefault(text, (section, name))
        if first != (section, name):
            yield path, f"{text!r} is already {first[0]}.{first[1]}"


def said(catalogue: Catalogue) -> Iterator[tuple[Path, str]]:
    """Yield every text that the tool says by itself, with its place."""
    for section in ("limits", "supplies", "subjects", "waits", "refusals", "sayings"):
        yield from (((section, name), text) for name, text in getattr(catalogue, section).items())
    yield from ((("hazards", name, "script"), hazard.script) for name, hazard in catalogue.hazards.items())
    yield from ((("steps", name, "prompt"), step.prompt) for name, step in catalogue.steps.items())
    for section in ("quantities", "units"):
        yield from (((section, name, "said"), one.said) for name, one in getattr(catalogue, section).items())


def _without_words(catalogue: Catalogue) -> Iterator[Fault]:
    """Yield hazards of which nobody knows what follows, and steps whose answers have no words, or too many."""
    for name in catalogue.hazards:
        if name not in catalogue.stops.stops:
            yield ("hazards", name), f"nothing says what follows {name}: add it to hazards.yaml of the trade"
    for name, step in catalogue.stops.steps.items():
        words = catalogue.steps.get(name)
        if words is None:
            yield ("steps",), f"steps lacks {name}"
        elif set(words.answers) != set(step.answers):
            told = ", ".join(step.answers) or "none"
            yield ("steps", name), f"the answers of the step {name} are {told}, not {', '.join(words.answers)}"
    for name in catalogue.steps:
        if name not in catalogue.stops.steps:
            yield ("steps", name), f"no stop knows the step {name}"


def _stopping(catalogue: Catalogue) -> Iterator[Fault]:
    """Yield texts that would stop the visit when the tool hears itself, and those that promise too much."""
    for path, text in said(catalogue):
        hazard = catalogue.hazard_within(catalogue.as_heard(text))
        if hazard is not None:
            yield path, f"{text!r} holds a phrase of {hazard}, which would stop the visit"
        promise = catalogue.wording.promise.search(text)
        if promise:
            yield path, f"{text!r} promises what nobody can know: {promise.group()}"
    for name, hazard_words in catalogue.hazards.items():
        first = hazard_words.script.split(".")[0:2]
        if not catalogue.wording.action.search(".".join(first)):
            yield ("hazards", name, "script"), f"{hazard_words.script!r} does not begin with what to do"
