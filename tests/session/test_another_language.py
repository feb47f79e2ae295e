"""Another language is data: a visit of a procedure in German, with the German words that the tests bring."""

from __future__ import annotations

import copy
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from rehearsed import JOB_SHEET, sheets
from ruamel.yaml import YAML

from handsfree.documents import read_document
from handsfree.events import decisions as ev
from handsfree.problem import Problem
from handsfree.procedure.languages import english_words
from handsfree.procedure.procedure import Procedure, load_procedure
from handsfree.procedure.proofs.check import check
from handsfree.session.plan import Plan
from handsfree.session.rehearsal import Rehearsal
from handsfree.visit.folder import SOURCES, load_plan, plan_of

HERE = Path(__file__).parent
GERMAN = HERE.parent / "lexicon" / "data" / "german.yaml"
NAME = "kleine-pruefung"
ENGLISH_WORDS = {
    "the",
    "again",
    "confirmed",
    "readings",
    "burner",
    "not",
    "still",
    "restored",
    "say",
    "gate",
    "which",
}


def german() -> dict:
    """Return the German catalogue; the screen's words, and what it has not followed yet, are English."""
    content = copy.deepcopy(read_document(GERMAN).content)
    for section, words in english_words().items():
        if section in {
            "dictionary",
            "pronunciations",
            "quantities",
            "units",
            "turns",
            "waits",
            "numbers",
            "spelling",
        }:
            continue
        content.setdefault(section, words)
        if isinstance(words, dict):
            content[section] = {**words, **content[section]}
    return content


def folder_with(folder: Path, content: dict) -> Path:
    """Write the procedure with a language beside it; return the procedure's file."""
    with (folder / "german.yaml").open("w", encoding="utf-8") as file:
        YAML().dump(content, file)
    procedure = folder / f"{NAME}.yaml"
    procedure.write_bytes((HERE / "german" / f"{NAME}.yaml").read_bytes())
    return procedure


@pytest.fixture
def procedure(tmp_path: Path) -> Procedure:
    return load_procedure(folder_with(tmp_path, german()))


def texts(visit: Rehearsal) -> list[str]:
    return [event.text for event in visit.events if isinstance(event, ev.Said | ev.Asked) and event.text]


def test_a_visit_in_german_is_finished_with_everything_restored(procedure: Procedure) -> None:
    """Said and heard in German alone: numbers with a comma, twins asked digit by digit, a wrong value put back."""
    visit = Rehearsal(Plan(procedure, sheets()).check(), date(2026, 11, 25))
    said = (
        ("abgenommen", "Ruhedruck?"),
        ("einundzwanzig komma drei millibar", "Zwei eins komma drei."),
        ("nein zwanzig komma vier", "Ruhedruck zwei null komma vier."),
        ("stimmt", "Sollwert, wie vorgefunden?"),
        ("fünfzig", "Fünf null."),
        ("stimmt", "Ziffer für Ziffer: Sollwert?"),
        ("fünf null", "Sollwert anheben."),
        ("angehoben", "CO im Raum?"),
        ("zwei", "Zwei."),
        ("stimmt", "Sollwert?"),
        ("fünf und fünfzig", "Sollwert?"),
        ("50", "Sollwert fünf null. Stimmt das?"),
        ("stimmt", "Haube?"),
        ("abgenommen", "Haube?"),
        ("aufgesetzt", "Haube aufgesetzt. Stimmt das?"),
        ("stimmt", "Alles zurückgestellt. Fertig. Stimmt das?"),
        ("stimmt", "Alles zurückgestellt. Fertig. Stimmt das?"),
    )
    for words, asked in said:
        visit.until_asking()
        visit.say(words)
        assert visit.state.text == asked, words
    assert visit.over
    closed = next(event for event in visit.events if isinstance(event, ev.VisitClosed))
    assert (closed.outcome, closed.still_altered) == ("finished", ())
    accepted = {e.reading.quantity: e.reading.value for e in visit.events if isinstance(e, ev.ReadingAccepted)}
    assert accepted == {"standing_pressure": "20.4", "set_point": "50", "ambient_co": "2"}
    assert "Ruhedruck im Band." in texts(visit)
    assert "Vorgefunden: fünf null. Zurückstellen." in texts(visit)
    assert not {word.strip(".,?:").lower() for text in texts(visit) for word in text.split()} & ENGLISH_WORDS


@pytest.mark.parametrize(
    ("words", "script"),
    [
        ("es riecht nach gas", "Gas. Keinen Schalter anfassen. Alle raus."),
        ("hier ist gasgeruch im keller", "Gas. Keinen Schalter anfassen. Alle raus."),
        ("mir ist schwindlig", "Raus an die Luft. Von dort Hilfe rufen."),
    ],
)
def test_the_work_is_stopped_in_german(procedure: Procedure, words: str, script: str) -> None:
    visit = Rehearsal(Plan(procedure, sheets()).check(), date(2026, 11, 25))
    visit.say(words)
    assert visit.state.status == "stopped"
    assert visit.state.text == script
    visit.say("stop work")
    assert visit.state.text == script


def test_a_comma_parts_digits_of_a_typed_number_and_else_parts_words(procedure: Procedure) -> None:
    visit = Rehearsal(Plan(procedure, sheets()).check(), date(2026, 11, 25))
    visit.say("abgenommen")
    visit.say("20,4")
    assert visit.state.text == "Zwei null komma vier."
    visit.say("nein, 20,5")
    assert visit.state.text == "Ruhedruck zwei null komma fünf."


def test_the_language_is_kept_with_the_visit_and_read_from_there_again(tmp_path: Path) -> None:
    """The record stands by itself: its folder holds the words that were said and understood."""
    plan, kept = load_plan(folder_with(tmp_path, german()), JOB_SHEET)
    assert "german.yaml" in kept
    sources = tmp_path / "visit" / SOURCES
    sources.mkdir(parents=True)
    for name, data in kept.items():
        (sources / name).write_bytes(data)
    again = plan_of(tmp_path / "visit", NAME)
    assert again.catalogue == plan.catalogue
    assert again.procedure.version() == plan.procedure.version()


def test_another_word_in_the_language_is_another_version_of_the_procedure(tmp_path: Path) -> None:
    first = load_procedure(folder_with(tmp_path, german())).version()
    changed = german()
    changed["sayings"]["stopped"] = "Schluss."
    assert load_procedure(folder_with(tmp_path, changed)).version() != first


def test_the_proofs_say_that_nothing_is_known_of_how_german_sounds(procedure: Procedure) -> None:
    """All else is proven; a language without pronunciations is told once, at the key that names it."""
    report = check(procedure)
    assert {finding.proof for finding in report.findings} == {"vocabulary"}
    (finding,) = report.findings
    assert "german has no pronunciations" in finding.what
    assert finding.place.line == 4


def changed(path: tuple[str, ...], value: object) -> Callable[[dict], None]:
    def change(content: dict) -> None:
        for key in path[:-1]:
            content = content[key]
        if value is None:
            del content[path[-1]]
        else:
            content[path[-1]] = value

    return change


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (changed(("sayings", "keys"), None), "sayings lacks keys"),
        (changed(("hazards", "gas-smell"), None), "hazards lacks gas-smell"),
        (changed(("answers",), None), "it lacks 'answers'"),
        (changed(("quantities", "co"), None), "quantities lacks co, understood at any moment"),
        (changed(("sayings", "keyes"), "Bitte."), "'keyes' is no key of sayings"),
        (changed(("sayings", "outside"), "{what} draußen."), "must have {value}, {what}"),
        (changed(("sayings", "outside"), "{what: draußen."), "must have {value}, {what}"),
        (changed(("sayings", "wait"), "{minutes}. Dann mir ist schlecht."), "holds a phrase of feel-ill"),
        (changed(("sayings", "stopped"), "Jetzt ist es sicher."), "promises what nobody can know: sicher"),
        (changed(("everywhere", "note"), ["stimmt"]), "'stimmt' is already everywhere.note"),
        (changed(("answers", "off"), ["brenner aus"]), "'brenner aus' is already answers.off"),
        (changed(("hazards", "co-alarm", "script"), "Ein Melder schlägt."), "does not begin with what to do"),
        (
            changed(("quantities", "dew_point"), {"said": "Taupunkt", "heard": []}),
            "there is no quantity dew_point",
        ),
        (changed(("language",), "deutsch"), "is called 'deutsch' but asked for as 'german'"),
        (changed(("numbers", "digit"), "zahl"), "there is no rule 'zahl'"),
    ],
)
def test_a_language_that_lacks_or_mixes_words_is_told_with_its_line(
    tmp_path: Path, change: Callable[[dict], None], told: str
) -> None:
    content = german()
    change(content)
    with pytest.raises(Problem) as caught:
        load_procedure(folder_with(tmp_path, content))
    assert told in caught.value.what
    assert "german.yaml:" in str(caught.value.where)


def test_a_language_without_a_file_is_told_where_it_is_named(tmp_path: Path) -> None:
    procedure = folder_with(tmp_path, german())
    (tmp_path / "german.yaml").unlink()
    with pytest.raises(Problem, match=r"there is no language 'german'") as caught:
        load_procedure(procedure)
    assert str(caught.value.where).endswith(f"{NAME}.yaml:4:11")


def test_files_of_two_languages_are_not_put_together(tmp_path: Path) -> None:
    """A gate asked in one language and answered in another would not be understood."""
    procedure = folder_with(tmp_path, german())
    include = "\n  - {id: gas, kind: include, file: gas.yaml, exits: {}}\n"
    procedure.write_text(procedure.read_text("utf-8").rstrip() + "\n" + include, "utf-8")
    (tmp_path / "gas.yaml").write_text(
        "handsfree: 2\nprocedure: gas\ntitle: Gas\npurpose: None.\n"
        'gates:\n  - {id: seen, kind: confirm, title: Seen, source: none, prompt: "Seen?"}\n',
        "utf-8",
    )
    with pytest.raises(Problem, match=r"gas.yaml is written in english, and what includes it in german"):
        load_procedure(procedure)
