"""Pictures, comparison, schema, description, template and layout: what authors get beside the proofs."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from collections import Counter
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from typer.testing import CliRunner
from workshop import PROVEN, block, damaged, procedure_of

from handsfree.commands.app import app
from handsfree.documents import parse_document, read_document
from handsfree.gates import outcomes
from handsfree.problem import Problem
from handsfree.procedure.comparison import changes, proof_changes
from handsfree.procedure.documentation import EXAMPLE, language_text
from handsfree.procedure.drawing import Stay, spans, svg
from handsfree.procedure.glossary import GLOSSARY, OUTCOMES, glossary_lines
from handsfree.procedure.layout import laid_out
from handsfree.procedure.mermaid import mermaid
from handsfree.procedure.procedure import load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.procedure.proofs.dangers import dangers
from handsfree.procedure.schema import schema, schema_text
from handsfree.procedure.sheets import load_sheets
from handsfree.procedure.template import template
from handsfree.procedure.trades import trades_in_order
from handsfree.shipped import shipped_procedures
from handsfree.stories.documentation import stories_text
from handsfree.trades.registry import trade

PROCEDURES = Path(__file__).parents[2] / "procedures"
DEMO = PROCEDURES.with_name("handsfree") / "demo"
SHIPPED = shipped_procedures()
SVG = "{http://www.w3.org/2000/svg}"


def plain(value: Any) -> Any:
    """Return content as JSON has it: numbers binary."""
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list):
        return [plain(item) for item in value]
    return float(value) if isinstance(value, Decimal) else value


# The schema, against the published meta-schema of JSON Schema 2020-12 (in the jsonschema package).


def test_the_schema_is_one_of_the_published_dialect_and_shipped_as_it_is() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    assert (PROCEDURES / "procedure.schema.json").read_text() == schema_text()


def test_a_number_that_is_written_as_a_text_breaks_the_schema() -> None:
    """Of a procedure and of a table; a parameter may stand for a number in a procedure alone."""
    content = plain(read_document(PROCEDURES / "hot-water-profile.yaml").content)
    limits = next(gate["limits"] for gate in content["gates"] if "limits" in gate)
    validator = jsonschema.Draft202012Validator(schema())
    for low, sound in ((60, True), ("$least", True), ("sixty", False)):
        limits["low"] = low
        assert validator.is_valid(content) == sound, low


def test_tables_have_a_schema_for_editors() -> None:
    """Of the published dialect and shipped as it is; the shipped tables keep it, and damaged ones do not."""
    _, text = run("language", "--schema", "--tables")
    assert (PROCEDURES / "table.schema.json").read_text() == text
    jsonschema.Draft202012Validator.check_schema(json.loads(text))
    checks = jsonschema.Draft202012Validator(json.loads(text))
    tables = [plain(read_document(path).content) for path in PROCEDURES.glob("*.table.yaml")]
    assert tables
    assert [error.message for table in tables for error in checks.iter_errors(table)] == []
    (row, *_), *_ = (table["rows"] for table in tables)
    for wrong in ({**row, "hihg": 3}, {**row, "low": "thirteen"}, {"low": 13}):
        assert list(checks.iter_errors({**tables[0], "rows": [wrong]})), wrong
    with pytest.raises(Problem, match="give --schema"):
        run("language", "--tables")


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_shipped_procedure_keeps_the_schema(path: Path) -> None:
    validator = jsonschema.Draft202012Validator(schema())
    assert [error.json_path for error in validator.iter_errors(plain(read_document(path).content))] == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("kind: finish", "kind: finnish"),
        ("at_most: 4", "at_most: 400"),
        ("alters: [cover]", "alter: [cover]"),
        ("done: [removed]", "done: [Removed!]"),
        ("handsfree: 2", "handsfree: 3"),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(old: str, new: str) -> None:
    text = PROVEN.replace(old, new, 1)
    validator = jsonschema.Draft202012Validator(schema())
    assert list(validator.iter_errors(plain(parse_document(text, "sample.yaml").content)))
    with pytest.raises(Problem):
        procedure_of(text)


def test_hover_texts_come_from_the_model() -> None:
    gate = schema()["$defs"]["ConfirmGate"]["properties"]
    assert "Things that are altered once this is done" in gate["alters"]["description"]


# The description of the language.


def test_the_description_is_shipped_as_it_is_generated() -> None:
    assert (PROCEDURES / "LANGUAGE.md").read_text() == language_text()


def test_the_worked_example_in_the_description_is_proven() -> None:
    text = language_text()
    example = text.split("## A worked example")[1].split("```yaml\n")[1].split("```")[0]
    assert check(procedure_of(example, EXAMPLE)).findings == ()


def test_every_field_is_described() -> None:
    text = language_text()
    for block_name in ("settle", "captures", "least_seconds", "no_advice", "limits", "exhausted"):
        assert f"| `{block_name}` |" in text


def test_every_outcome_that_several_kinds_or_trades_have_is_explained() -> None:
    every = Counter(
        name for of in trades_in_order() for one in trade(of).calculations.values() for name in one.outcomes
    )
    assert {name for name, count in every.items() if count > 1} <= OUTCOMES.keys()
    of_gates = {value for name, value in vars(outcomes).items() if name.isupper() and isinstance(value, str)}
    assert of_gates - {*outcomes.ENDS} <= OUTCOMES.keys()


@pytest.mark.parametrize("text", [language_text(), stories_text()], ids=["language", "stories"])
def test_every_key_says_what_it_is_and_every_link_leads_to_a_heading(text: str) -> None:
    """The name of a heading in a link is GitHub's: small letters, no signs, `-` for spaces."""
    titles = [line[3:].lower() for line in text.splitlines() if line.startswith("## ")]
    assert set(re.findall(r"\]\(#([^)]+)\)", text)) <= {
        re.sub(r"[^\w -]", "", one).replace(" ", "-") for one in titles
    }
    tables = re.split(r"\| key \| is .*\n.*\n", text)[1:]
    rows = [row for one in tables for row in one.split("\n\n")[0].splitlines()]
    assert len(rows) > 20
    assert [row for row in rows if row.endswith("|  |") or "| a block" in row] == []


def test_a_template_is_named_and_proven_and_a_bad_name_refused() -> None:
    assert check(procedure_of(template("pump-change"), "pump-change")).proven
    with pytest.raises(Problem, match="cannot name"):
        template("Pump change")


@pytest.mark.parametrize("trade", trades_in_order())
def test_invented_sheets_of_each_trade_are_written_to_try_a_visit_with(trade: str, tmp_path: Path) -> None:
    into = tmp_path / "job.yaml"
    written = ["template", "--sheet", "job", "--example", "--trade", trade, "--into", str(into)]
    run(*written)
    sheets, _ = load_sheets(into)
    assert sheets.job.trade == trade
    with pytest.raises(Problem, match="there already"):
        run(*written)
    with pytest.raises(Problem, match="two files"):
        run("template", "--sheet", "appliance", "--example")


# Layout.


@pytest.mark.slow("fifty files are laid out twice")
@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_layout_keeps_values_and_comments_and_settles_at_once(path: Path) -> None:
    text = path.read_text()
    laid = laid_out(text, str(path))
    assert parse_document(laid, "x").content == parse_document(text, "x").content
    assert [line.split("#")[1] for line in laid.splitlines() if "#" in line] == [
        line.split("#")[1] for line in text.splitlines() if "#" in line
    ]
    assert laid_out(laid, str(path)) == laid


# Pictures.


@pytest.mark.slow("fifty drawings")
@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_picture_is_well_formed_and_holds_every_gate_once(path: Path) -> None:
    procedure = load_procedure(path)
    root = ET.fromstring(svg(procedure))
    drawn = [group.get("id") for group in root.iter(f"{SVG}g")]
    assert sorted(drawn) == sorted(procedure.gates)


def test_spans_stand_where_a_thing_is_altered() -> None:
    found = spans(procedure_of(PROVEN))
    assert found["set-point"]["hold"] is True
    assert "set-point-raised" not in found["set-point"]
    assert found["cover"]["turn"] is True
    assert "finish" not in found["cover"]


def test_a_visits_path_is_marked_with_its_times() -> None:
    procedure = procedure_of(PROVEN)
    stays = [Stay("standing-pressure", 12.0), Stay("set-point-found", 65.0)]
    root = ET.fromstring(svg(procedure, stays))
    walked = [group.get("id") for group in root.iter(f"{SVG}g") if "walked" in str(group.get("class"))]
    assert walked == ["standing-pressure", "set-point-found"]
    assert "1:05" in svg(procedure, stays)
    assert "1:05" in mermaid(procedure, stays)


def test_mermaid_names_every_gate_and_every_transition() -> None:
    procedure = procedure_of(PROVEN)
    lines = mermaid(procedure).splitlines()
    arrows = [line for line in lines if "-->" in line or "-.->" in line]
    assert lines[0] == "flowchart TD"
    assert len(arrows) == sum(len(placed.transitions) for placed in procedure.gates.values())


# Comparison.


def test_the_same_meaning_in_other_text_is_no_change() -> None:
    reworded = PROVEN.replace("done: [removed]", "done:\n      - removed   # as called")
    assert changes(procedure_of(PROVEN), procedure_of(reworded)) == ()


@pytest.mark.parametrize(
    ("old", "new", "aspect", "says"),
    [
        ("at_most: 4", "at_most: 5", "limits", "hold: at_most: 4 -> 5"),
        ("outside: cover-off", "outside: stop-fault", "order", 'on "outside": cover-off -> stop-fault'),
        ("done: [removed]", "done: [taken away]", "phrases", "removed -> taken away"),
        ("wait_seconds: 180", "wait_seconds: 120", "limits", "wait_seconds 120"),
        ("source: the maker's manual", "source: the book", "sources", "the book"),
        ("prompt: Cover off.", "prompt: Take the cover off.", "wording", "Take the cover off."),
    ],
)
def test_a_change_is_told_by_what_it_is_about(old: str, new: str, aspect: str, says: str) -> None:
    (found,) = changes(procedure_of(PROVEN), damaged((old, new)))
    assert found.aspect == aspect
    assert says in found.sentence()


def test_a_renamed_gate_is_renamed_and_not_another() -> None:
    text = PROVEN.replace("cover-off", "cover-away")
    (found,) = changes(procedure_of(PROVEN), procedure_of(text))
    assert found.sentence() == "cover-away: renamed: cover-off -> cover-away"


def test_lost_proofs_and_new_dangers_are_told() -> None:
    new = damaged(("things: [rate-hold, set-point]", "things: [rate-hold]"))
    (lost,) = proof_changes(procedure_of(PROVEN), new)
    assert (lost.proof, lost.gained) == ("restored", False)
    assert "finish can be entered with set-point raised" in dangers(procedure_of(PROVEN), new)


# The commands.


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, list(arguments))
    if isinstance(result.exception, Problem):
        raise result.exception
    return result.exit_code, result.output


def test_a_shipped_procedure_is_checked_drawn_and_tested_by_its_name() -> None:
    assert run("check", "flange-bolt")[0] == 0
    assert run("draw", "flange-bolt", "--mermaid")[0] == 0
    assert "go as told" in run("test", "outlet-temperature", "--jobs", "1")[1]
    with pytest.raises(Problem, match="flange-bold"):
        run("draw", "flange-bold")


def test_check_shows_the_line_a_caret_and_the_story(tmp_path: Path) -> None:
    path = tmp_path / "sample.yaml"
    path.write_text(PROVEN.replace("things: [rate-hold, set-point]", "things: [rate-hold]"))
    code, output = run("check", str(path))
    assert code == 1
    assert "It happens so:" in output
    assert f"{path}:" in output
    assert "\n" + " " * 6 in output
    assert "^" in output


def test_check_names_a_schema_fault_with_line_and_column(tmp_path: Path) -> None:
    path = tmp_path / "sample.yaml"
    path.write_text(PROVEN.replace("kind: finish", "kind: finnish"))
    code, output = run("check", str(path))
    assert code == 1
    number = next(n for n, line in enumerate(PROVEN.splitlines(), 1) if "id: finish" in line)
    assert f"sample.yaml:{number}" in output or f"sample.yaml:{number + 1}" in output


def test_check_names_every_fault_of_the_file_at_once(tmp_path: Path) -> None:
    path = tmp_path / "sample.yaml"
    path.write_text(PROVEN.replace("at_most: 4", "at_most: 400").replace("alters: [cover]", "alter: [cover]"))
    code, output = run("check", str(path))
    assert code == 1
    assert "at_most" in output
    assert "alter:" in output
    assert output.count("^") >= 2


def test_check_answers_in_json(tmp_path: Path) -> None:
    path = tmp_path / "sample.yaml"
    path.write_text(
        PROVEN.replace(block("put-back"), block("put-back").replace("[rate-hold, set-point]", "[rate-hold]"))
    )
    code, output = run("check", "--json", str(path))
    (told,) = json.loads(output)
    assert code == 1
    assert told["proofs"]["restored"] == "failed"
    assert told["findings"][0]["story"][-1]["gate"] == "finish"


def test_draw_compare_template_and_layout_run(tmp_path: Path) -> None:
    path = tmp_path / "pump-change.yaml"
    assert run("template", "pump-change", "--into", str(path))[0] == 0
    assert run("check", str(path))[0] == 0
    assert run("layout", "--check", str(path))[0] == 0
    assert run("draw", str(path))[1].startswith("<svg")
    assert run("draw", "--mermaid", str(path))[1].startswith("flowchart TD")
    assert "Nothing changed" in run("compare", str(path), str(path))[1]
    with pytest.raises(Problem, match="there already"):
        run("template", "pump-change", "--into", str(path))


@pytest.mark.parametrize(("sheet", "file"), [("job", "jobsheet.yaml"), ("appliance", "appliance-24.yaml")])
def test_a_sheet_has_a_schema_for_editors(sheet: str, file: str) -> None:
    """Of the published dialect; the demo's sheet keeps it, and one with a wrong word for a fact does not."""
    _, text = run("template", "--sheet", sheet, "--schema")
    jsonschema.Draft202012Validator.check_schema(json.loads(text))
    checks = jsonschema.Draft202012Validator(json.loads(text))
    content = json.loads(json.dumps(plain(read_document(DEMO / file).content), default=str))
    assert list(checks.iter_errors(content)) == []
    assert [one.message for one in checks.iter_errors({**content, "heigth": 3})]
    with pytest.raises(Problem, match="only a sheet has a schema here"):
        run("template", "pump-change", "--schema")


def test_a_glossary_stands_first_and_its_words_are_those_of_the_page() -> None:
    text = (PROCEDURES / "LANGUAGE.md").read_text(encoding="utf-8")
    glossary, _, rest = text.partition("## The file")
    assert "\n".join(glossary_lines()).strip() in glossary
    words = {word for named in GLOSSARY for word in named.split(", ")}
    assert [word for word in words if word not in rest.lower()] == []
    assert "|  |" not in text, "a key that nothing is said of"
