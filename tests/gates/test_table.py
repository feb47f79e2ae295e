"""Tables of limits beside a procedure: rows found, refused, proven, compared and judged by.

Interpolation is held against `numpy.interp`, which is outside the project. The shipped table of air flows is that
of Approved Document F 2021 volume 1, table 1.2 (continuous extract at its high rate), from memory. All other
numbers are invented; what the language refuses is its own rule.
"""

from __future__ import annotations

import shutil
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result
from typer.testing import CliRunner

from handsfree.commands.app import app
from handsfree.documents import parse_document
from handsfree.gates.block import Limits
from handsfree.gates.outcomes import FINISHED
from handsfree.gates.table import LimitsTable
from handsfree.glance.bands import wanted_at
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.sheets import load_sheets
from handsfree.procedure.tables_page import EXAMPLE_OF_A_TABLE, EXAMPLE_OF_READING_IT, tables_lines
from handsfree.session.plan import Plan
from handsfree.shipped import procedures_folder
from handsfree.stories.mutants import planted
from handsfree.trades.sheets import Sheets

EXAMPLE = Path(__file__).parents[2] / "handsfree" / "trades" / "ventilation" / "example" / "jobsheet.yaml"
GATES = (
    """\
handsfree: 2
procedure: flow
trade: ventilation
title: One air flow
purpose: One air flow is read and judged by a table.
proves: [{says: air flow, by: [air-flow-verdict]}]
cautions: [Local code and the maker's manual come first.]
gates:
  - {id: air-flow, kind: readings, title: Air flow, source: own, prompt: "Air flow?", ask: [{quantity: air_flow}],
     point: air-flow}
"""
    + EXAMPLE_OF_READING_IT
    + """\
  - {id: finish, kind: finish, title: Finish, source: own}
  - {id: stop-flow, kind: stop, title: Stopped, source: own, script: Leave it off. Report it.}
"""
)


def written(folder: Path, gates: str = GATES, table: str = EXAMPLE_OF_A_TABLE) -> Path:
    """Write a procedure and its table."""
    folder.mkdir(exist_ok=True)
    (folder / "least-flow.table.yaml").write_text(table, encoding="utf-8")
    path = folder / "flow.yaml"
    path.write_text(gates, encoding="utf-8")
    return path


def procedure(folder: Path, gates: str = GATES, table: str = EXAMPLE_OF_A_TABLE) -> Procedure:
    """Return the procedure, read."""
    return load_procedure(written(folder, gates, table))


def limits(of: Procedure) -> Limits:
    """Return the limits of its verdict."""
    judges = of.gate("air-flow-verdict").gate.effects.judges
    assert judges is not None
    assert judges.limits is not None
    return judges.limits


def sheets(**facts: object) -> Sheets:
    """Return the sheets of the invented dwelling with other facts."""
    of, _ = load_sheets(EXAMPLE)
    return of.model_copy(update={"job": of.job.model_copy(update=facts)})


def edges(of: Procedure, **facts: object) -> tuple[Decimal | None, Decimal | None]:
    """Return the limits with such facts on the job sheet."""
    found = limits(of).on(sheets(**facts))
    return found.low, found.high


def faults(of: Procedure) -> list[tuple[str, str, int]]:
    """Return what `check` finds, with the file's name and the line."""
    return [(one.proof, Path(one.place.file).name, one.place.line) for one in check(of).findings]


def test_the_example_is_proven_and_says_what_its_page_says(tmp_path: Path) -> None:
    page = "\n".join(tables_lines())
    assert EXAMPLE_OF_A_TABLE in page
    assert EXAMPLE_OF_READING_IT in page
    of = procedure(tmp_path)
    assert faults(of) == []
    assert edges(of, dwelling="new", altitude_metre=Decimal(500)) == (Decimal("14.0"), None)
    assert edges(of, dwelling="new", altitude_metre=Decimal(1000)) == (Decimal(15), None)
    assert edges(of, dwelling="new", altitude_metre=Decimal(1001)) == (None, None)
    assert edges(of, dwelling=None, altitude_metre=Decimal(0)) == (None, None)


@pytest.mark.parametrize(
    ("metre", "ends", "unread"),
    [
        ("altitude_metre: 0", "finished", [10, 11, 13]),
        ("altitude_metre: 400", "finished", [10, 11]),
        ("altitude_metre: 1200", "open", [10, 11, 12, 13]),
    ],
)
def test_rows_that_no_story_reads_are_listed_with_their_lines(
    tmp_path: Path, metre: str, ends: str, unread: list[int]
) -> None:
    """Between two rows both are read; beyond the outer ones none is."""
    path = written(tmp_path / "flow")
    shutil.copy(EXAMPLE.with_name("fan.yaml"), path.parent)
    (path.parent / "job.yaml").write_text(f"{EXAMPLE.read_text('utf-8')}\n{metre}\n", "utf-8")
    stories = path.with_name("flow.tests.yaml")
    head = "handsfree: 2\nstories_of: flow\nday: 2026-11-25\njobsheet: job.yaml\nstories:\n"
    last = "end" if ends == "finished" else "stopped"
    story = f"{{story: One flow, steps: [fourteen point zero, confirmed, {{go: {last}}}], ends: {ends}}}"
    stories.write_text(f"{head}  - {story}\n", "utf-8")
    done = CliRunner().invoke(app, ["test", str(path), "--unwalked", "--jobs", "1"])
    assert done.exit_code == 0, done.output
    assert f"rows {4 - len(unread)} of 4" in done.output, done.output
    listed = [line for line in done.output.splitlines() if "never read" in line]
    table = path.with_name("least-flow.table.yaml")
    assert listed == [f"  never read: the row of least-flow at {table}:{line}:5" for line in unread]


@pytest.mark.parametrize("metre", [0, 1, 333, 500, 999, 1000])
def test_between_rows_the_straight_line_holds_rounded_inwards(tmp_path: Path, metre: int) -> None:
    """By numpy's interpolation; a low limit is never below the line, a high one never above."""
    rows = "low: 8.9, high: 9.6"
    table = EXAMPLE_OF_A_TABLE.replace("low: 11", rows).replace("low: 12}", "low: 8.2, high: 9.3}")
    found = edges(procedure(tmp_path, table=table), dwelling="existing", altitude_metre=Decimal(metre))
    low, high = (float(np.interp(metre, [0, 1000], ends)) for ends in ((8.9, 8.2), (9.6, 9.3)))
    assert found[0] is not None
    assert found[1] is not None
    assert -1e-9 <= float(found[0]) - low < 0.01
    assert -1e-9 <= high - float(found[1]) < 0.01


def test_a_listed_number_has_no_nearest_row(tmp_path: Path) -> None:
    of = procedure(tmp_path, table=EXAMPLE_OF_A_TABLE.replace("interpolated", "listed"))
    assert edges(of, dwelling="new", altitude_metre=Decimal(1000)) == (Decimal(15), None)
    assert edges(of, dwelling="new", altitude_metre=Decimal(999)) == (None, None)


ROW = "  - {when: {job.dwelling: new, room: kitchen, job.altitude_metre: 1000}, low: 15}\n"


@pytest.mark.parametrize(
    ("was", "now", "line", "says"),
    [
        ("others: no-limit", "", 9, "no row holds for not given, kitchen"),
        (ROW, ROW + ROW, 12, "two rows hold for new, kitchen, 1000, this one and that of line 11"),
        (ROW, "", 10, "nothing lies between this row and another one for new, kitchen"),
        (ROW, ROW.replace("low: 15", "high: 15"), 11, "does not give the limits that the one of line 10 gives"),
        (ROW, ROW.replace("low: 15", "low: 15, high: 15"), 11, "low, 15, is not below high, 15"),
        (ROW, ROW.replace(", low: 15", ""), 11, "the row gives no limit"),
        ("job.dwelling: new, room: kitchen, job.altitude_metre: 1000", "room: kitchen, job.altitude_metre: 1000",
         11, "does not say for which job.dwelling it holds"),
        ("1000}, low: 15", "high}, low: 15", 11, "job.altitude_metre is a number"),
        ("1000}, low: 15", "[900, 1000]}, low: 15", 11, "a row stands at one number"),
        ("job.dwelling: new, room: kitchen, job.altitude_metre: 1000",
         "job.dwelling: old, room: kitchen, job.altitude_metre: 1000", 11, "job.dwelling is never 'old'"),
        ("room: listed", "room: interpolated", 7, "room is no number, so nothing lies between two rows"),
        ("room: listed", "room: listed, flat: listed", 10, "does not say for which flat it holds"),
        ("room: listed, ", "", 10, "the table is not by room"),
        ("job.dwelling: listed", "job.dweling: listed", 7, "the job sheet has no fact 'dweling'"),
        ("job.dwelling: listed", "job.site: listed", 7, "job.site is no choice and no number"),
        ("table: least-flow", "table: last-flow", 3, "the table is called 'last-flow' but the file"),
        ("unit: L/s", "", 2, "unit"),
    ],
)  # fmt: skip
def test_a_wrong_table_is_refused_at_its_line(tmp_path: Path, was: str, now: str, line: int, says: str) -> None:
    assert was in EXAMPLE_OF_A_TABLE
    with pytest.raises(Problem) as refused:
        procedure(tmp_path, table=EXAMPLE_OF_A_TABLE.replace(was, now, 1))
    assert says in refused.value.what
    assert f"least-flow.table.yaml:{line}:" in str(refused.value.where)


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        ("at: {room: kitchen}", "at: {room: bath}", "no row of least-flow is for room 'bath'"),
        (", at: {room: kitchen}", "", "the table least-flow is by room, too"),
        ("{room: kitchen}", "{room: kitchen, flat: own}", "the table least-flow is not by 'flat'"),
        ("table: least-flow", "table: most-flow", "there is no most-flow.table.yaml here"),
        ("table: least-flow", "table: least-flow, low: 3", "the table gives low, high and source"),
        ("table: least-flow, ", "low: 3, source: own, ", "`at` chooses a row, and there is no `table`"),
    ],
)
def test_a_verdict_that_reads_a_table_wrongly_is_refused_at_its_line(
    tmp_path: Path, was: str, now: str, says: str
) -> None:
    assert was in GATES
    with pytest.raises(Problem) as refused:
        procedure(tmp_path, GATES.replace(was, now, 1))
    assert says in refused.value.what
    assert "flow.yaml:17:" in str(refused.value.where)


@pytest.mark.parametrize(
    ("gates", "table", "found"),
    [
        (GATES.replace(", no-limit: stop-flow", ""), EXAMPLE_OF_A_TABLE, ("branches", "flow.yaml", 18)),
        (GATES, EXAMPLE_OF_A_TABLE.replace("L/s", "m3/h"), ("rows", "least-flow.table.yaml", 6)),
        (GATES, EXAMPLE_OF_A_TABLE.replace("low: 12", "low: 300"), ("limits", "least-flow.table.yaml", 13)),
        (
            GATES.replace("    using", "    otherwise: finish\n    when: {job.dwelling: new}\n    using"),
            EXAMPLE_OF_A_TABLE,
            ("rows", "least-flow.table.yaml", 12),
        ),
    ],
    ids=["no way without a limit", "another unit", "nothing can miss it", "a row that no visit reads"],
)  # fmt: skip
def test_each_row_is_proven(tmp_path: Path, gates: str, table: str, found: tuple[str, str, int]) -> None:
    assert found in faults(procedure(tmp_path, gates, table))


def test_a_branch_without_a_limit_is_dead_where_every_choice_has_its_row(tmp_path: Path) -> None:
    plain = "\n".join(
        line.replace(", job.altitude_metre: 0", "").replace(": existing", ": [existing, not given]")
        for line in EXAMPLE_OF_A_TABLE.replace(", job.altitude_metre: interpolated", "").splitlines()
        if not line.startswith("others") and "1000" not in line
    )  # fmt: skip
    assert ("branches", "flow.yaml", 18) in faults(procedure(tmp_path, table=plain))
    without = procedure(tmp_path / "without", GATES.replace(", no-limit: stop-flow", ""), plain)
    assert faults(without) == []


def test_a_way_that_hangs_on_a_row_follows_the_sheet(tmp_path: Path) -> None:
    """The sheet is the same at both verdicts: whoever had a row at the first one has it at the second."""
    table = "".join(
        line.replace(", job.altitude_metre: 0", "") + "\n"
        for line in EXAMPLE_OF_A_TABLE.replace(", job.altitude_metre: interpolated", "").splitlines()
        if "1000" not in line
    )
    again = EXAMPLE_OF_READING_IT.replace("air-flow-verdict", "again").replace(
        "no-limit: stop-flow", "no-limit: odd"
    )
    first = EXAMPLE_OF_READING_IT.replace("within: finish", "within: again")
    odd = "  - {id: odd, kind: stop, title: Odd, source: own, script: Leave it off. Ask.}\n"
    of = procedure(tmp_path, GATES.replace(EXAMPLE_OF_READING_IT, first + again) + odd, table)
    assert [one.gate for one in check(of).findings if one.proof == "reachable"] == ["odd"]


@pytest.mark.parametrize(
    ("was", "now", "weights"),
    [
        ("low: 13", "low: 12", ["looser"]),
        ("low: 13", "low: 14", ["tighter"]),
        (ROW, ROW + ROW.replace("1000", "500").replace("15", "14.5"), ["tighter"]),
        (ROW, ROW + ROW.replace("1000", "500").replace("15", "13.5"), ["looser"]),
        (ROW, ROW.replace("1000", "900"), ["tighter", "looser"]),
        ("interpolated", "listed", ["tighter"]),
        ("source: invented", "source: Invented", ["neutral"]),
    ],
)
def test_a_changed_row_is_weighed_by_itself(tmp_path: Path, was: str, now: str, weights: list[str]) -> None:
    """At 900 m the new first line gives 15 in place of 14.8; at 1,000 m there is no limit any more."""
    new = procedure(tmp_path / "new", table=EXAMPLE_OF_A_TABLE.replace(was, now, 1))
    assert [one.weight for one in changes(procedure(tmp_path / "old"), new)] == weights


def test_limits_that_move_into_a_table_are_compared_row_by_row(tmp_path: Path) -> None:
    plain = GATES.replace("table: least-flow, at: {room: kitchen}", "low: 12, source: own")
    plain = plain.replace(", no-limit: stop-flow", "")
    told = {one.sentence() for one in changes(procedure(tmp_path / "old", plain), procedure(tmp_path / "new"))}
    assert "air-flow-verdict: limits for existing, 0: at least 12 -> at least 11" in told
    assert "air-flow-verdict: may have no limit: no -> yes" in told


def test_a_visit_is_shown_and_judged_by_the_row_of_its_sheet(tmp_path: Path) -> None:
    of = procedure(tmp_path)
    plan = Plan(of, sheets(dwelling="existing", altitude_metre=Decimal(1000))).check()
    assert wanted_at(plan, "air-flow")["air_flow"].written("aim") == "≥ 12"
    beyond = Plan(of, sheets(dwelling="existing", altitude_metre=Decimal(2000))).check()
    assert wanted_at(beyond, "air-flow") == {}
    assert FINISHED not in of.gates


def checked(*paths: Path) -> Result:
    return CliRunner().invoke(app, ["check", *map(str, paths)])


def test_a_table_among_procedures_is_checked_with_them(tmp_path: Path) -> None:
    path = written(tmp_path)
    done = checked(tmp_path / "least-flow.table.yaml", path)
    assert done.exit_code == 0
    assert "a table of limits: it is checked with each procedure that reads it" in done.output


def test_the_shipped_rates_are_those_of_the_document_and_faults_are_planted_in_its_rows() -> None:
    file = procedures_folder() / "extract-rates.table.yaml"
    document = parse_document(file.read_text("utf-8"), str(file))
    table = LimitsTable.model_validate(document.content)
    rates = {room: row.low for row in table.rows for room in row.when["room"]}
    assert rates == {"kitchen": 13, "utility-room": 8, "bathroom": 8, "toilet": 6}
    assert {one.operator for one in planted(document)} == {"looser limit", "wrong unit", "swapped rows"}
