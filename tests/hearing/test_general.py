"""The third opinion: its parts alone, and a person's sound by the real weights where they are installed."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
import soundfile

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.general.judging import NOT_LISTED
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.pieces import BEGIN, END, Pieces
from handsfree.hearing.general.reading import Readings
from handsfree.hearing.general.scoring import Progress, TooLateError, scored, summed
from handsfree.hearing.general.spellings import Spellings, pauses_of
from handsfree.hearing.general.weights import GeneralFolder, GeneralPlan
from handsfree.lexicon.automaton import phrases, repeated
from handsfree.problem import Problem
from handsfree.procedure.languages import english

NUMBERS = english().numbers


class Chances:
    """A network of three pieces (3, 4, 5) whose chances depend on the last piece alone."""

    def __init__(self):
        self.rows = []

    def step(self, before, rows, pieces):
        self.rows.append(list(pieces))
        return self.after(pieces)

    def after(self, pieces):
        logs = np.full((len(pieces), 6), -9.0, np.float32)
        for row, piece in enumerate(pieces):
            logs[row, END] = -0.5
            logs[row, 3 + piece % 3] = -1.0
            logs[row, 3 + (piece + 1) % 3] = -3.0
        return Progress(logs, (), (), logs)


def test_a_tree_of_texts_scores_as_each_text_alone():
    network = Chances()
    texts = [(3, 4), (3, 4, 5), (3, 5), (4,), (5, 3, 3)]
    together = scored(network, network.after([2]), texts, beam=99.0, free=False).texts
    assert network.rows[0] == [3, 4, 5], "a beginning that texts share is asked about once"
    alone = {
        text: scored(network, network.after([2]), [text], beam=99.0, free=False).texts[text] for text in texts
    }
    assert together == pytest.approx(alone)


def test_what_is_far_behind_at_its_length_is_given_up():
    network = Chances()
    found = scored(network, network.after([2]), [(3, 3), (5, 5)], beam=1.5, free=False)
    assert set(found.texts) == {(5, 5)}


def test_so_many_beginnings_of_one_length_are_followed_and_the_likeliest_of_all_is_among_them():
    network = Chances()
    found = scored(network, network.after([2]), [(3, 3), (4, 4), (5, 3)], beam=99.0, most=1, free=False)
    assert set(found.texts) == {(5, 3)}


def test_free_text_is_never_nothing_and_the_time_is_kept():
    network = Chances()
    found = scored(network, network.after([2]), [])
    assert found.free == (5,)
    assert found.free_score == pytest.approx(-1.5)
    times = iter([0.0, 2.0, 4.0])
    with pytest.raises(TooLateError):
        scored(network, network.after([2]), [(3, 4, 5, 3)], until=1.0, clock=lambda: next(times))
    assert summed([-1.0, -1.0]) == pytest.approx(-1.0 + np.log(2))


def test_figures_follow_from_the_number_rules():
    spellings = Spellings(NUMBERS)
    assert {"Nine point three forty-four.", "9.3, 44.", "9.3 44"} <= set(
        spellings.of(["nine", "point", "three", "forty", "four"])
    )
    assert "135." in spellings.of(["one", "hundred", "and", "thirty", "five"])
    assert {"18 80.", "1880."} <= set(spellings.of(["eighteen", "eighty"]))
    assert "44, 18." in spellings.of(["four", "four", "eighteen"], frozenset({2}))
    assert spellings.of(["stop"]) == ("Stop.", "Stop", "Stop!", "stop")
    assert pauses_of([(0, 300), (310, 600), (800, 900)]) == {2}


def test_what_is_written_is_read_through_the_grammar():
    readings = Readings(NUMBERS)
    grammar = repeated(phrases([*NUMBERS.words(), "maximum"])).automaton()
    row = ("nine", "point", "three", "four", "four", "eighteen", "maximum")
    assert row in readings.of("9.3, 44, 18, maximum.", grammar)
    assert ("thirty", "five") in readings.of("35", grammar)
    assert readings.of("Thank you.", grammar) == ()
    assert readings.of("Tight.", phrases(["tight", "leak found"]).automaton()) == (("tight",),)


def test_a_folder_without_weights_is_told_in_one_sentence(tmp_path):
    with pytest.raises(Problem) as told:
        GeneralFolder.check(tmp_path)
    assert "lacks encoder_model.ort" in told.value.sentence()
    for name in ("encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"):
        (tmp_path / name).write_bytes(b"no weights here")
    with pytest.raises(Problem) as told:
        GeneralFolder.check(tmp_path)
    assert "no weights of a network" in told.value.sentence()


def test_a_list_of_pieces_joins_in_the_order_of_ranks():
    """Byte-pair encoding as R. Sennrich et al. (ACL 2016) describe it; ranks are the order of the list."""
    content = [b"<unk>", b"<s>", b"</s>", *(bytes([byte]) for byte in range(256))]
    content += [text.encode() for text in ("▁a", "ab", "▁", "a", "b", "c", "▁ab")]
    pieces = Pieces(b"".join(bytes([len(text)]) + text for text in content))
    assert pieces.of("ab") == (265,), "rank of the last joining"
    assert pieces.text(pieces.of("ab c")) == "ab c"
    assert pieces.text(pieces.of("é")) == "é", "by its bytes"
    with pytest.raises(ValueError, match="no list of pieces"):
        Pieces(b"\x05abc")


def hypothesis(*words, score="0"):
    return Hypothesis(tuple(SpokenWord(word, 0, 300, Decimal(1)) for word in words), Decimal(score))


@pytest.fixture(scope="module")
def plan():
    found = GeneralPlan.of(english())
    if found is None:
        pytest.skip("the weights of the general recogniser are not installed")
    return found


@pytest.fixture(scope="module")
def ear(plan):
    made = GeneralMember(plan).wait()
    made._budget_s = 60.0
    return made


@pytest.fixture(scope="module")
def beckett(plan):
    """A man reads S. Beckett, Worstward Ho (1983): "Ever tried. Ever failed. No matter. Try again. ..."."""
    samples, rate = soundfile.read(plan.folder.path.parents[1] / "test-data" / "beckett.wav", dtype="int16")
    assert rate == 16_000
    return samples


NO_NOISE = np.zeros(0, np.int16)


def test_it_writes_what_a_person_says_and_knows_the_phrase_among_others(ear, beckett):
    """The recording that the weights' own wheel brings, and the published words."""
    begin = beckett[: 3 * 16_000]
    said, other = "ever tried ever failed", "never cried never sailed"
    grammar = phrases([said, other, "stop"]).automaton()
    heard = (hypothesis(*other.split()), hypothesis("[unk]", score="-1"))
    weighed, opinion = ear.weigh(begin, heard, grammar, NO_NOISE)
    assert opinion.text.lower().startswith("ever tried")
    assert opinion.member == GeneralFolder.installed().identity
    likely = {" ".join(one.text): one.general for one in weighed}
    assert likely[said] > max((score for text, score in likely.items() if score and text != said), default=-99)
    assert next(one for one in weighed if " ".join(one.text) == said).score == NOT_LISTED
    assert likely["[unk]"] is None


def test_late_it_says_nothing_and_the_list_stays_as_it_was(ear, beckett):
    heard = (hypothesis("yes"),)
    ear._budget_s = 0.0
    try:
        weighed, opinion = ear.weigh(beckett[:16_000], heard, phrases(["yes"]).automaton(), NO_NOISE)
    finally:
        ear._budget_s = 60.0
    assert weighed == heard
    assert opinion.late
    assert opinion.likelihood is None


@pytest.mark.slow("the library's own way takes 0.2 s for each piece")
def test_packed_networks_say_what_the_files_say(plan, ear, beckett):
    """The files played by the library as they are, against the same with weights packed in blocks of 8 bits."""
    onnxruntime = pytest.importorskip("onnxruntime")
    from handsfree.hearing.general import network  # noqa: PLC0415 - the library is an extra

    folder = plan.folder.path
    encoder, decoder = (
        onnxruntime.InferenceSession(str(folder / name), providers=["CPUExecutionProvider"])
        for name in ("encoder_model.ort", "decoder_model_merged.ort")
    )
    sound = beckett[: 2 * 16_000]
    (states,) = encoder.run(None, {"input_values": network._prepared(sound)})
    pieces = [BEGIN, *ear._pieces.of("Ever tried."), END]
    past = {one.name: np.zeros((0, 8, 1, 52), np.float32) for one in decoder.get_inputs() if "past" in one.name}
    (logits,) = decoder.run(
        ["logits"],
        {
            "input_ids": np.array([pieces[:-1]]),
            "encoder_hidden_states": states,
            "use_cache_branch": np.array([False]),
            **past,
        },
    )
    expected = sum(network._log_softmax(logits[0])[np.arange(len(pieces) - 1), pieces[1:]])
    texts = [tuple(pieces[1:-1])]
    found = scored(ear._network, ear._network.listen(sound), texts, beam=99.0, free=False).texts[texts[0]]
    assert found == pytest.approx(float(expected), abs=0.35)
