"""Mappings that a company makes itself: three unlike exports, all invented, and what is told of a fault."""

from __future__ import annotations

import re
import textwrap
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from handsfree.blocks import described_fields
from handsfree.commands.app import app
from handsfree.instruments import mapping as mappings
from handsfree.instruments.mapping import MappedColumn, MappedTime, Mapping, load_mapping
from handsfree.instruments.rows import LONGEST_LINE, ByteLines, ReadRow, Rows, UnreadLine
from handsfree.problem import Problem

UNITS = {"co2": "%", "co": "[ppm]", "flue_temperature": "Cel", "working_pressure": "mbar"}

COMMAS = """\
instrument: 1
name: the one with commas
form: columns
separator: ";"
decimal: ","
header: 1
encoding: latin-1
time: {columns: [Tag, Uhr], form: "%d.%m.%Y %H:%M:%S", zone: "+01:00"}
columns:
  - {column: Kohlendioxid, quantity: co2, unit: "%"}
  - {column: Wärme, quantity: flue_temperature, unit: Cel}
over_range: ["> max"]
"""
TABS = """\
instrument: 1
name: the one with tabs
form: columns
separator: tab
header: 2
columns:
  - {column: CO, quantity: co, unit: "[ppm]"}
  - {column: CO2, quantity: co2, unit: "%"}
over_range: [over]
fault: [flt, "--"]
"""
PAIRS = """\
instrument: 1
name: the one that talks
form: pairs
separator: space
time: {columns: [t], form: "%Y-%m-%dT%H:%M:%S%z"}
columns:
  - {column: c, quantity: co, unit: "[ppm]"}
  - {column: p, quantity: working_pressure, unit: Pa}
fault: [x]
"""


def rows_of(folder: Path, text: str) -> Rows:
    file = folder / "mapping.yaml"
    file.write_text(text, encoding="utf-8")
    return Rows(load_mapping(file, UNITS))


def read(rows: Rows, data: bytes) -> list[ReadRow | UnreadLine]:
    lines = ByteLines()
    given_out = [*lines.of(data), *lines.last()]
    return [one for line in given_out if (one := rows.read(line)) is not None]


def test_semicolons_with_commas_and_the_day_first(tmp_path: Path) -> None:
    data = 'Tag;Uhr;Kohlendioxid;"Wärme";Bemerkung\r\n03.02.2026;10:11:12;9,10;58;"a;b"\r\n'
    data += "03.02.2026;10:11:22;> MAX;;\r\n"
    first, second = read(rows_of(tmp_path, COMMAS), data.encode("latin-1"))
    when = datetime(2026, 2, 3, 9, 11, 12, tzinfo=UTC)
    assert first == ReadRow({"co2": Decimal("9.10"), "flue_temperature": Decimal(58)}, when)
    assert str(first.values["co2"]) == "9.10"
    assert second == ReadRow({"co2": "over range"}, when + timedelta(seconds=10))


def test_tabs_with_units_below_the_names_and_marks(tmp_path: Path) -> None:
    """The header comes again when the instrument was switched on again."""
    head = "No\tCO\tCO2\n\tppm\t%\n"
    data = f"{head}1\tover\t9.1\n2\tFLT\t9.2\n{head}3\t41\t--\n"
    assert read(rows_of(tmp_path, TABS), data.encode()) == [
        ReadRow({"co": "over range", "co2": Decimal("9.1")}),
        ReadRow({"co": "no reading", "co2": Decimal("9.2")}),
        ReadRow({"co": Decimal(41), "co2": "no reading"}),
    ]


def test_pairs_as_a_serial_line_sends_them(tmp_path: Path) -> None:
    """In any order, and not all of them each time."""
    data = b"t=2026-02-03T10:11:12+0530 p=2010 c=41\nc=x t=2026-02-03T04:41:22Z\nhello\nc=1 c=2\np=9 t=late\n"
    first, second, *others = read(rows_of(tmp_path, PAIRS), data)
    when = datetime(2026, 2, 3, 10, 11, 12, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    assert first == ReadRow({"co": Decimal(41), "working_pressure": Decimal(2010)}, when)
    assert second == ReadRow({"co": "no reading"}, when + timedelta(seconds=10))
    assert [(one.line, one.why) for one in others if isinstance(one, UnreadLine)] == [
        (3, "'hello' is no pair"),
        (4, "the key 'c' stands twice"),
        (5, "its time 'late' is not written as %Y-%m-%dT%H:%M:%S%z"),
    ]


numbers = st.builds(
    lambda digits, places: Decimal(digits).scaleb(-places), st.integers(-99999, 99999), st.integers(0, 4)
)


@settings(max_examples=25)
@given(st.lists(st.tuples(numbers, numbers), min_size=1, max_size=5))
def test_every_number_written_comes_back_exactly(
    tmp_path_factory: pytest.TempPathFactory, values: list[tuple[Decimal, Decimal]]
) -> None:
    """To its last nought: the resolution of a display is evidence. In each of the three exports."""

    def comma(one: Decimal) -> str:
        return f"{one:f}".replace(".", ",")

    exports = {
        COMMAS: ["Tag;Uhr;Kohlendioxid;Wärme", *(f"01.02.2026;00:00:00;{comma(a)};{comma(b)}" for a, b in values)],
        TABS: ["CO2\tCO", "%\tppm", *(f"{a:f}\t{b:f}" for a, b in values)],
        PAIRS: [f"t=2026-02-01T00:00:00Z c={a:f} p={b:f}" for a, b in values],
    }
    for text, lines in exports.items():
        found = read(rows_of(tmp_path_factory.getbasetemp(), text), "\n".join(lines).encode("latin-1"))
        got = [tuple(map(str, one.values.values())) for one in found if isinstance(one, ReadRow)]
        order = (1, 0) if text is TABS else (0, 1)
        assert got == [tuple(f"{pair[at]:f}" for at in order) for pair in values]


HEADS = {COMMAS: "Tag;Uhr;Kohlendioxid;Wärme", TABS: "CO\tCO2\n\t", PAIRS: ""}


@settings(max_examples=25)
@given(st.lists(st.binary(max_size=60), max_size=6), st.sampled_from([COMMAS, TABS, PAIRS]))
def test_any_bytes_are_left_out_and_nothing_else(
    tmp_path_factory: pytest.TempPathFactory, pieces: list[bytes], text: str
) -> None:
    """However they are cut into pieces: a line is a row, or is left out with one sentence."""
    rows, lines = rows_of(tmp_path_factory.getbasetemp(), text), ByteLines()
    assert read(rows, f"{HEADS[text]}\n".encode("latin-1")) == []
    for line in [line for piece in pieces for line in lines.of(piece)]:
        one = rows.read(line)
        assert one is None or isinstance(one, ReadRow) or one.why.count("\n") == 0


def test_a_line_without_an_end_is_given_out_once(tmp_path: Path) -> None:
    """And takes no more memory than the longest line; the next line is read again."""
    rows, lines = rows_of(tmp_path, PAIRS), ByteLines()
    found = [line for _ in range(1_000) for line in lines.of(b"c=4" * 1_000)]
    assert len(found) == 1
    assert len(found[0]) <= LONGEST_LINE + 3_000
    assert rows.read(found[0]) == UnreadLine(1, "it has more than 4,000 bytes")
    assert list(lines.of(b"\nt=2026-02-03T04:41:22Z c=7\n")) == [b"t=2026-02-03T04:41:22Z c=7"]


@pytest.mark.parametrize(("change", "line", "says"), [
    (("quantity: co2", "quantity: c_o_2"), 10, "there is no quantity 'c_o_2' in this trade"),
    (('unit: "%"', "unit: mbar"), 10, "'mbar' is measured in kg.m-1.s-2 and '%' in 1"),
    (('unit: "%"', "unit: percent"), 10, "'percent' is no unit that is known here"),
    (("%d.%m.%Y", "%d.%B.%Y"), 8, "%B cannot stand here"),
    (("%d.%m.%Y", "%m.%Y"), 8, "write a whole time"),
    (('"+01:00"', "Atlantis"), 8, "there is no zone 'Atlantis'"),
    ((', zone: "+01:00"', ""), 8, "give a zone, or a form with %z"),
    (("header: 1", "header: 0"), 9, "without a header each column is a number"),
    (('separator: ";"', 'separator: ","'), 5, "are the same sign"),
    (("decimal", "decimals"), 5, "there is no such key here"),
    (("column: Wärme", "column: Kohlendioxid"), 9, "the column Kohlendioxid stands twice"),
])  # fmt: skip
def test_a_fault_of_a_mapping_is_told_with_its_line(
    tmp_path: Path, change: tuple[str, str], line: int, says: str
) -> None:
    file = tmp_path / "mapping.yaml"
    assert change[0] in COMMAS
    file.write_text(COMMAS.replace(*change), encoding="utf-8")
    with pytest.raises(Problem, match=re.escape(says)) as told:
        load_mapping(file, UNITS)
    assert told.value.where is not None
    assert told.value.where.startswith(f"{file}:{line}:"), told.value.where


def test_a_header_without_a_column_is_told_with_the_line_of_the_mapping(tmp_path: Path) -> None:
    rows = rows_of(tmp_path, TABS)
    with pytest.raises(Problem, match="the column 'CO2' nowhere") as told:
        rows.read(b"No\tCO")
    assert told.value.where == f"{tmp_path / 'mapping.yaml'}:8:14"


def test_the_command_tells_what_is_read_and_what_is_not(tmp_path: Path) -> None:
    mapping, lines = tmp_path / "m.yaml", tmp_path / "lines.txt"
    mapping.write_text(PAIRS, encoding="utf-8")
    lines.write_bytes(b"t=2026-02-03T04:41:22Z c=7 p=2010\nc=\xff\n")
    result = CliRunner().invoke(app, ["instrument", str(mapping), str(lines)])
    assert result.exit_code == 0
    assert "line 1 · 2026-02-03 04:41:22+00:00 · co 7 [ppm] · working_pressure 2010 Pa\n" in result.output
    assert f"{lines}:2: left out: it is no utf-8 text\n" in result.output
    assert "1 rows read, 1 lines left out" in result.output
    lines.write_bytes(b"nothing\n")
    assert CliRunner().invoke(app, ["instrument", str(mapping), str(lines)]).exit_code == 1


def test_the_page_tells_every_key_as_the_model_has_it(tmp_path: Path) -> None:
    """And its example is a mapping that loads."""
    page = Path(mappings.__file__).with_name("INSTRUMENT.md").read_text("utf-8")
    for block, before in (
        (Mapping, ""),
        (MappedTime, "time."),
        (MappedColumn, "columns[]."),
    ):
        for name, field in described_fields(block).items():
            told = (field.description or "").replace("|", "\\|")
            assert f"| `{before}{name}` | {told} |\n" in page
    (example,) = re.findall(r"(?m)(?:^    .+\n)*^    instrument: 1\n(?:^    .+\n)*", page)
    file = tmp_path / "example.yaml"
    file.write_text(textwrap.dedent(example), encoding="utf-8")
    assert load_mapping(file, UNITS).mapping.decimal == ","
