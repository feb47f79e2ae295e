"""A model folder that cannot be used is told in one sentence that names the file."""

import json
import shutil
from pathlib import Path

import pytest

from handsfree.hearing.model_folder import SUMS, ModelFolder
from handsfree.lexicon.pronunciation import Pronunciations
from handsfree.problem import Problem
from handsfree.procedure.procedure import load_procedure
from handsfree.questions.grammar import words
from handsfree.shipped import shipped_procedures

SHIPPED = Path(__file__).parents[2] / "models" / "english"
PROCEDURES = SHIPPED.parents[1] / "procedures"


@pytest.fixture
def copy(tmp_path):
    return Path(shutil.copytree(SHIPPED, tmp_path / "model"))


def test_the_shipped_model_passes_and_has_a_stable_identity():
    assert ModelFolder.check(SHIPPED).identity == ModelFolder.check(SHIPPED).identity
    assert ModelFolder.check(SHIPPED).units is not None


def test_the_shipped_model_with_its_graphs_stays_under_ten_megabytes():
    assert sum(file.stat().st_size for file in SHIPPED.rglob("*") if file.is_file()) < 10_000_000


def test_another_content_is_another_identity(copy):
    before = ModelFolder.check(copy).identity
    (copy / SUMS).unlink()
    with (copy / "conf" / "model.conf").open("a") as settings:
        settings.write("--beam=10\n")
    assert ModelFolder.check(copy).identity != before


def test_a_missing_folder_is_said(tmp_path):
    with pytest.raises(Problem, match=r"nowhere: there is no such model folder; give --model"):
        ModelFolder.check(tmp_path / "nowhere")


def test_a_file_in_place_of_a_folder_is_said(tmp_path):
    file = tmp_path / "model.zip"
    file.write_bytes(b"PK")
    with pytest.raises(Problem, match="this is a file, not a model folder"):
        ModelFolder.check(file)


def test_an_empty_folder_names_all_that_it_lacks(tmp_path):
    with pytest.raises(Problem, match=r"lacks am/final.mdl, conf/model.conf, graph/HCLr.fst, .*fbank.conf"):
        ModelFolder.check(tmp_path)


@pytest.mark.parametrize("name", ["am/final.mdl", "graph/words.txt", "conf/model.conf"])
def test_a_missing_file_is_named(copy, name):
    (copy / name).unlink()
    with pytest.raises(Problem, match=name):
        ModelFolder.check(copy)


@pytest.mark.parametrize("name", ["am/final.mdl", "graph/HCLr.fst"])
def test_an_empty_file_is_named(copy, name):
    (copy / name).write_bytes(b"")
    with pytest.raises(Problem, match=rf"{name}: the model file is empty"):
        ModelFolder.check(copy)


def test_one_changed_byte_is_found_by_the_checksums(copy):
    content = bytearray((copy / "am/final.mdl").read_bytes())
    content[len(content) // 2] ^= 1
    (copy / "am/final.mdl").write_bytes(content)
    with pytest.raises(Problem, match=r"am/final.mdl: the model file is damaged"):
        ModelFolder.check(copy)


@pytest.mark.parametrize(
    ("name", "kind"), [("am/final.mdl", "acoustic model"), ("graph/HCLr.fst", "decoding graph")]
)
def test_a_file_of_another_kind_is_found_without_checksums(copy, name, kind):
    (copy / SUMS).unlink()
    (copy / name).write_bytes(b"<html>not found</html>" * 9)
    with pytest.raises(Problem, match=rf"{name}: the model file is damaged: it is no {kind}"):
        ModelFolder.check(copy)


ENGLISH = ("one", "two", "stop", "point")


def test_a_model_of_another_language_is_said_to_lack_the_words(copy):
    """A model that is not built our way hears the words of its own list and no others."""
    (copy / SUMS).unlink()
    (copy / "graph/words.txt").write_text("<eps> 0\neins 1\nzwei 2\nstop 3\n")
    (copy / "graph/phones.txt").unlink()
    folder = ModelFolder.check(copy)
    with pytest.raises(Problem, match="does not know the english words one, point, two"):
        folder.require(ENGLISH, Pronunciations(), "english")
    folder.require(("eins", "zwei"), Pronunciations(dictionary=False), "german")


def test_our_model_hears_what_is_pronounced_and_nothing_else():
    """German words that nobody has spelled in phones are told before the visit, not at the first question."""
    folder = ModelFolder.check(SHIPPED)
    folder.require((*ENGLISH, "niner"), Pronunciations(), "english")
    folder.require(("zwei",), Pronunciations({"zwei": "T S V AY"}, dictionary=False), "german")
    with pytest.raises(Problem, match="does not know the german words drei, zwei") as caught:
        folder.require(("zwei", "drei"), Pronunciations(dictionary=False), "german")
    assert "`pronunciations`" in str(caught.value)


@pytest.mark.slow("all grammars are compiled")
def test_all_words_of_the_shipped_procedures_can_be_heard_by_the_shipped_model():
    """With what a foreign model in the other layout would have to know, by number."""
    for file in shipped_procedures():
        procedure = load_procedure(file)
        heard = words(procedure.catalogue, (procedure.scope(one) for one in procedure.gates))
        assert len(heard) > 150
        ModelFolder.check(SHIPPED).require(heard, procedure.catalogue.pronounced(procedure.words), "english")


def test_a_network_that_the_settings_name_must_be_there(copy):
    (copy / SUMS).unlink()
    settings = copy / "conf" / "listening.json"
    wanted = json.loads(settings.read_text()) | {"opinions": [["final.mdl", 16_000], ["absent.mdl", 15_000]]}
    settings.write_text(json.dumps(wanted))
    with pytest.raises(Problem, match=r"lacks am/absent\.mdl"):
        ModelFolder.check(copy)


@pytest.mark.parametrize("content", ["{", "[]", '{"no such setting": 1}', '{"opinions": 3}'])
def test_settings_that_are_none_are_told(copy, content):
    (copy / SUMS).unlink()
    (copy / "conf" / "listening.json").write_text(content)
    with pytest.raises(Problem, match=r"listening\.json: the model file is damaged: it holds no settings"):
        ModelFolder.check(copy)
