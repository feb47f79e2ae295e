"""YAML read strictly: bad text gives one sentence with file and line, good numbers stay exactly as written."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.documents import LARGEST_FILE, Document, parse_document, read_document, walk
from handsfree.problem import Problem

SHIPPED = Path(__file__).parents[2] / "procedures" / "gas-rate-check.yaml"

# YAML itself. What a scalar is follows the core schema of YAML 1.2.2 (chapter 10.3.2) for decimals, null and
# booleans; every other plain scalar stays text, so that nothing is turned into a number unasked.


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("9.30", Decimal("9.30")),
        ("9.3", Decimal("9.3")),
        ("-0.20", Decimal("-0.20")),
        ("0.0040", Decimal("0.0040")),
        ("9", 9),
        ("-5", -5),
        ("true", True),
        ("null", None),
        ("~", None),
        ("", None),
        ("yes", "yes"),
        ("on", "on"),
        ("12:30", "12:30"),
        ("1e3", "1e3"),
        ("0x10", "0x10"),
        ("007", "007"),
        ("1_000", "1_000"),
        (".nan", ".nan"),
        (".5", ".5"),
        ("2027-06-30", "2027-06-30"),
        ("'9.30'", "9.30"),
        ("!!str 9.30", "9.30"),
    ],
)
def test_a_scalar_is_exactly_what_was_written(written: str, meant: object) -> None:
    """9.30 keeps its last nought, and what is no plain number stays text."""
    value = parse_document(f"a: {written}", "f.yaml").content["a"]
    assert value == meant
    assert type(value) is type(meant)
    assert str(value) == str(meant)


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("a: 1\nb: [1, 2\nc: 3", 3, "not valid YAML"),
        ("a: 1\n\tb: 2", 2, "not valid YAML"),
        ("a: 'open", 1, "not valid YAML"),
        ("a: 1\na: 2", 2, "stands twice"),
        ("a: {b: 1,\n    b: 2}", 2, "stands twice"),
        ("a: &x 1\nb: *x", 1, "anchors"),
        ("a: 1\n&x b: 2", 2, "plain word"),
        ("b: 1\na: *x", 2, "begins a text"),
        ("a: {x: 1}\nb:\n  <<: {y: 2}", 3, "merge keys"),
        ("b: 1\n? [1, 2]\n: c", 2, "plain word"),
        ("a:\n  - !!python/object/apply:os.system [ls]", 2, "tag"),
        ("a: 1\nb: !thing {c: 1}", 2, "tag"),
        ("a: 1\n---\nb: 2", 2, "a second document"),
        ("a: 1\nb: " + "9" * 5000, 2, "too long"),
        ("a: 1\nb: " + "9" * 5000 + ".1", 2, "too long"),
        ("", 1, "empty"),
        ("# nothing but a remark\n", 1, "empty"),
        ("[" * 60 + "]" * 60, 1, "too deep"),
        ("[\n" * 3000, 1, "not valid YAML"),
        ("- " * 3000 + "a", 1, "too deep"),
        ("a:\n" + " " * 400 + "b: 1", 2, "too deep"),
        ("a: \x00", 1, "not valid YAML"),
    ],
)
def test_yaml_that_is_not_strict_is_refused_with_its_line(text: str, line: int, says: str) -> None:
    """Broken, repeated, shared, tagged and bottomless YAML each gets one sentence with its place."""
    with pytest.raises(Problem, match=says) as caught:
        parse_document(text, "f.yaml")
    assert re.match(rf"f\.yaml:{line}(:\d+)?$", str(caught.value.where))
    assert "\n" not in str(caught.value)


def test_a_file_that_cannot_be_read_says_so(tmp_path: Path) -> None:
    """Missing, a folder, too large and not UTF-8: one sentence each."""
    with pytest.raises(Problem, match="No such file"):
        read_document(tmp_path / "none.yaml")
    with pytest.raises(Problem, match="directory"):
        read_document(tmp_path)
    large = tmp_path / "large.yaml"
    large.write_bytes(b"#" * (LARGEST_FILE + 1))
    with pytest.raises(Problem, match="bytes"):
        read_document(large)
    latin = tmp_path / "latin.yaml"
    latin.write_bytes("a: 1\nb: Zürich".encode("latin-1"))
    with pytest.raises(Problem, match="not UTF-8") as caught:
        read_document(latin)
    assert str(caught.value.where).endswith("latin.yaml:2")


def test_every_value_keeps_its_place() -> None:
    """Lines and columns count from one, as editors do."""
    document = read_document(SHIPPED)
    lines = document.text.splitlines()
    for path, value in walk(document.content):
        place = document.places[path]
        if isinstance(value, str) and " " not in value:
            rest = lines[place.line - 1][place.column - 1 :]
            assert rest.lstrip('"').startswith(value)
    assert document.place(("gates", 2, "volume", "nothing")) == document.place(("gates", 2, "volume"))


_LETTERS = st.text(alphabet=st.sampled_from(list("ab1.-:?,[]{}&*!|>'\"%@`#~<= \n\t\\$0_é\u2028\x85")), max_size=60)


@settings(max_examples=400)
@given(_LETTERS | st.text(max_size=40))
def test_any_text_is_a_document_or_a_problem(text: str) -> None:
    """No text makes the reader fail in another way."""
    try:
        assert isinstance(parse_document(text, "f.yaml"), Document)
    except Problem as problem:
        assert str(problem.where).startswith("f.yaml:")  # noqa: PT017 - either outcome is right


_PIECES = st.sampled_from(
    [
        "a",
        "b: ",
        "9.30",
        "- ",
        "\n",
        "\n  ",
        "\n    ",
        ": ",
        ":",
        "? ",
        "[",
        "]",
        "{",
        "}",
        ", ",
        "'",
        '"',
        "|\n",
        ">\n",
        "# ",
        "!!str ",
        "!x ",
        "*a",
        "%YAML 1.1\n",
        "---\n",
        "...\n",
        "<<: ",
        "yes",
        "~",
        "@",
        "`",
        "ü",
        "x:y",
        '"a":1',
        " ",
    ]
)


@settings(max_examples=300)
@given(st.lists(_PIECES, max_size=14).map("".join))
def test_the_fast_parser_reads_what_the_parser_of_yaml_1_2_reads(text: str) -> None:
    """A remark that holds an ampersand leaves the text to the latter; an empty value may stand elsewhere.

    A text without any key is no file of ours, and where a block of text ends in it is read in two ways.
    """
    found = []
    for each in (f"# a\n{text}\n", f"# &\n{text}\n"):
        try:
            document = parse_document(each, "f.yaml")
        except Problem:
            found.append(None)
            continue
        said = {path for path, value in walk(document.content) if value is not None}
        places = {path: place for path, place in document.places.items() if path in said}
        found.append((document.content, places, document.keys))
    if any(isinstance(each[0], dict) for each in found if each):
        assert found[0] == found[1]


@settings(max_examples=200)
@given(st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=-10_000, max_value=10_000))
def test_any_decimal_comes_back_digit_by_digit(value: Decimal) -> None:
    """From file to value nothing is rounded."""
    assert str(parse_document(f"a: {value}", "f.yaml").content["a"]) == str(value)


def test_a_file_of_too_many_values_is_refused_before_it_is_parsed() -> None:
    """R9: a flow sequence of 400 kB took 71 s; on one line or on many, it is one sentence."""
    for text in ("a: [" + "1, " * 133_000 + "1]\n", "a: [\n" + " 1,\n" * 80_000 + " 1]\n", "- 1\n" * 100_000):
        with pytest.raises(Problem, match=r"some [0-9,]+ values, and 40,000 are the most; keep it shorter"):
            parse_document(text, "x.yaml")
