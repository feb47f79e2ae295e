"""What a line of the record is, and what is refused as one."""

from __future__ import annotations

import json
from typing import Any

import pytest
import rfc8785
from attacks import changed, lines_of
from hypothesis import given
from hypothesis import strategies as some
from jsonschema import Draft202012Validator
from visits import VISIT, recorded

from handsfree.ledger import Entry, envelope_schema, members_named, read
from handsfree.ledger.entry import Malformed, NewerFormat, canonical, entry_of

DISK = recorded(8)
LINES = lines_of(DISK)
VALUES = some.recursive(
    some.none()
    | some.booleans()
    | some.integers(-(2**53) + 1, 2**53 - 1)
    | some.text(some.characters(codec="utf-8")),
    lambda inner: some.lists(inner) | some.dictionaries(some.text(some.characters(codec="utf-8")), inner),
    max_leaves=12,
)


@given(some.dictionaries(some.text(some.characters(codec="utf-8")), VALUES))
def test_what_may_be_recorded_comes_back_the_same_and_has_one_form(event: dict[str, Any]) -> None:
    """Any event of text, integers, truth values, null, lists and objects survives, and its form is unique."""
    form = canonical(event)
    assert json.loads(form) == event
    assert canonical(json.loads(form)) == form
    assert b"\n" not in form
    assert b"\0" not in form


@given(some.dictionaries(some.text(some.characters(codec="utf-8")), VALUES))
def test_a_line_is_taken_in_its_form_by_rfc_8785_and_in_no_other(event: dict[str, Any]) -> None:
    """The reference is the library rfc8785, which wrote the line; the other order is that of code points."""
    members = {**json.loads(LINES[1]), "event": event}
    line = rfc8785.dumps(members)
    assert entry_of(line).event == event
    otherwise = json.dumps(members, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()
    if otherwise != line:
        with pytest.raises(Malformed, match="canonical form"):
            entry_of(otherwise)


@pytest.mark.parametrize("number", [2**53, -(2**53)])
def test_a_line_with_a_number_that_json_cannot_hold_exactly_is_refused(number: int) -> None:
    """RFC 8785, section 3.2.2.3: 2^53 - 1 is the largest."""
    line = LINES[1].replace(b'"event":{', b'"event":{"0":%d,' % number)
    assert line != LINES[1]
    with pytest.raises(Malformed, match="not JSON of this format"):
        entry_of(line)


def test_names_stand_in_the_order_of_utf_16() -> None:
    """An emoji stands before U+FB33, though its code point is the higher one (RFC 8785, section 3.2.3)."""
    event = {"\U0001f600": 1, "\ufb33": 2}
    line = rfc8785.dumps({**json.loads(LINES[1]), "event": event})
    assert entry_of(line).event == event
    turned = line.replace('"\U0001f600":1,"\ufb33":2'.encode(), '"\ufb33":2,"\U0001f600":1'.encode())
    assert turned != line
    with pytest.raises(Malformed, match="canonical form"):
        entry_of(turned)


@pytest.mark.parametrize(
    ("event", "where"),
    [
        ({"value": 9.3}, "event.value: float does not belong"),
        ({"values": [1, {"deep": float("nan")}]}, r"event.values\[1\].deep: float"),
        ({"raw": b"\0"}, "event.raw: bytes"),
        ({1: "one"}, "member names are strings, not 1"),
    ],
)
def test_what_is_not_exact_is_refused_loudly(event: dict[Any, Any], where: str) -> None:
    """A reading is a decimal in text; a float, bytes or a key that is no text is a mistake of the program."""
    with pytest.raises(TypeError, match=where):
        canonical(event)


@pytest.mark.parametrize("event", [{"count": 2**53}, {"words": "\ud800"}])
def test_what_json_cannot_hold_exactly_is_refused(event: dict[str, Any]) -> None:
    """An integer beyond 2^53 - 1 or text that is not Unicode has no canonical form."""
    with pytest.raises(ValueError, match="event: "):
        canonical(event)


def test_each_line_is_the_canonical_form_of_its_entry() -> None:
    """The bytes on disk are RFC 8785 and say what the entry says."""
    for line, entry in zip(LINES, read(VISIT, DISK), strict=True):
        assert entry.line == line
        assert canonical(json.loads(line)) == line
        assert canonical({k: v for k, v in json.loads(line).items() if k != "seal"}) == entry.unsealed


def test_the_schema_that_ships_is_valid_and_describes_every_line() -> None:
    """JSON Schema 2020-12, checked by an independent validator."""
    schema = envelope_schema()
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    for line in LINES:
        validator.validate(json.loads(line))


MISSHAPEN: list[tuple[str, dict[str, Any]]] = [
    ("an unknown member", {"extra": 1}),
    ("a count below zero", {"mono": -1}),
    ("a truth value for a count", {"to_come": True}),
    ("an event that is a list", {"event": []}),
    ("a kind that is no text", {"kind": 5}),
    ("an empty kind", {"kind": ""}),
    ("an upper-case digest", {"prev": "A" * 64}),
    ("a short key", {"next_key": "ab"}),
    ("a seal of other characters", {"seal": "g" * 128}),
    ("a time with an offset", {"at": "2026-01-31T12:00:00.000+00:00"}),
    ("a time without milliseconds", {"at": "2026-01-31T12:00:00Z"}),
    ("a device in a later entry", {"device": {}}),
]


@pytest.mark.parametrize(("what", "change"), MISSHAPEN, ids=[what for what, _ in MISSHAPEN])
def test_a_misshapen_entry_is_refused_by_the_reader_and_by_the_schema(what: str, change: dict[str, Any]) -> None:
    """The reader and the schema agree on what an entry is not."""
    line = changed(LINES[3], lambda members: members.update(change))
    with pytest.raises(Malformed):
        entry_of(line)
    assert not Draft202012Validator(envelope_schema()).is_valid(json.loads(line))


@pytest.mark.parametrize(
    "change",
    [
        {"device": []},
        {"device": {"key": "a"}},
        {"path": "x"},
        {"use": "0"},
        {"uses": True},
        {"signer": "A" * 64},
        {"path": ["0" * 63]},
    ],
)
def test_a_misshapen_device_proof_is_refused(change: dict[str, Any]) -> None:
    """The proof that a device sealed the first entry has a form of its own."""

    def alter(members: dict[str, Any]) -> None:
        members.update(change if "device" in change else {"device": members["device"] | change})

    line = changed(LINES[0], alter)
    with pytest.raises(Malformed, match="device proof"):
        entry_of(line)
    assert not Draft202012Validator(envelope_schema()).is_valid(json.loads(line))


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"[]",
        b"null",
        b"{",
        b"\xff\xfe{\x00}\x00",
        b'{"a":1.5}',
        b'{"a":NaN}',
        b'{"a":1e400}',
        b"[" * 100_000,
        b'{"a":1,"a":2}',
        b"9" * 5_000,
    ],
)
def test_what_is_no_entry_is_refused(line: bytes) -> None:
    """Whatever stands on a line, reading it ends in one exception, never a crash of the reader."""
    with pytest.raises(Malformed):
        entry_of(line)


def test_an_impossible_date_is_refused() -> None:
    """The thirtieth of February has the form of a date and is none; the schema's pattern cannot see it."""
    line = changed(LINES[3], lambda members: members.update(at="2026-02-30T00:00:00.000Z"))
    with pytest.raises(Malformed):
        entry_of(line)


def test_an_entry_of_a_newer_format_says_so() -> None:
    """A record that a later program wrote is not called damaged: the person is told to use that program."""
    line = changed(LINES[0], lambda members: members.update(format=2, invention=True))
    with pytest.raises(NewerFormat, match=r"format 2 .* formats up to 1; read it with a newer version"):
        entry_of(line)


def test_members_are_found_at_any_depth() -> None:
    """The clips an event names may stand anywhere in it."""
    event = {"sound": "a", "list": [{"sound": "b"}, {"deep": {"sound": "c", "other": ("x", {"sound": "d"})}}]}
    assert list(members_named(event, "sound")) == ["a", "b", "c", "d"]


def test_an_entry_shows_its_digest_and_its_time() -> None:
    """The digest is what the next entry carries; the time is in milliseconds since 1970."""
    first, second, *_ = read(VISIT, DISK)
    assert isinstance(first, Entry)
    assert first.digest == second.prev
    assert second.wall - second.mono == first.wall - first.mono
