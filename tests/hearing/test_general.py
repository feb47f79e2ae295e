"""The third opinion: its parts alone, and a person's sound by the real weights where they are installed."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from functools import partial

import numpy as np
import pytest
import soundfile

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.general.ahead import Ahead, listened
from handsfree.hearing.general.judging import LATE_IN_A_ROW, NOT_LISTED, GeneralScorer
from handsfree.hearing.general.member import GeneralMember
from handsfree.hearing.general.pieces import BEGIN, END, Pieces
from handsfree.hearing.general.reading import Readings
from handsfree.hearing.general.scoring import (
    Begun,
    Progress,
    TooLateError,
    asked_ahead,
    followed,
    scored,
    summed,
    written,
)
from handsfree.hearing.general.spellings import Spellings, pauses_of
from handsfree.hearing.general.weights import GeneralFolder, GeneralPlan
from handsfree.lexicon.automaton import phrases, repeated
from handsfree.problem import Problem
from handsfree.procedure.languages import english

NUMBERS = english().numbers
NO_FRAMES = np.zeros((0, 40), np.float32)


class Chances:
    """A network of three pieces (3, 4, 5) whose chances depend on the last piece alone."""

    def __init__(self, known=6):
        self.asked, self._known = [], known

    def listen(self, samples):
        return self.step(Progress(np.zeros((0, 6)), (), (), np.zeros((0, 0), bool), NO_FRAMES), [-1], [2])

    def step(self, before, after, pieces):
        self.asked.append(list(pieces))
        logs = np.full((len(pieces), self._known), -9.0, np.float32)
        for row, piece in enumerate(pieces):
            logs[row, END] = -0.5
            logs[row, 3 + piece % 3] = -1.0
            logs[row, 3 + (piece + 1) % 3] = -3.0
        return Progress(logs, (), (), followed(before.seen, after), before.phones)


def likely(network, *texts, sound=None, **limits):
    """Return the likelihood of each text, each a sentence of its own, nothing written freely before."""
    return scored(network, Begun.of(network.listen(sound)), [[text] for text in texts], **limits)


def test_a_tree_of_texts_scores_as_each_text_alone():
    network = Chances()
    texts = [(3, 4), (3, 4, 5), (3, 5), (4,), (5, 3, 3)]
    together = likely(network, *texts, beam=99.0)
    assert sum(map(len, network.asked)) == 1 + 8, "a beginning that texts share is asked about once"
    alone = {text: likely(network, text, beam=99.0)[text] for text in texts}
    assert together == pytest.approx(alone)


def test_each_piece_follows_those_before_it_in_its_own_text():
    seen = followed(followed(np.zeros((0, 0), bool), [-1]), [0, 0, 1, 2])
    assert [set(np.flatnonzero(row)) for row in seen] == [{0}, {0, 1}, {0, 2}, {0, 1, 3}, {0, 2, 4}]


def test_what_is_far_behind_at_its_length_is_given_up():
    assert set(likely(Chances(), (3, 3), (5, 5), beam=1.5)) == {(5, 5)}


def test_so_many_beginnings_of_one_length_are_followed_and_the_likeliest_of_all_is_among_them():
    assert set(likely(Chances(), (3, 3), (4, 4), (5, 3), beam=99.0, most=1)) == {(5, 3)}


def test_a_way_to_write_a_sentence_is_given_up_when_another_is_done_and_far_ahead():
    network = Chances()
    begun = Begun.of(network.listen(None))
    ways = [(5,), (4, 4, 4)]
    assert set(scored(network, begun, [ways], beam=99.0, way_beam=3.0)) == {(5,)}
    assert set(scored(network, begun, [[way] for way in ways], beam=99.0, way_beam=3.0)) == set(ways)


def test_free_text_is_never_nothing_and_what_goes_along_with_it_is_not_asked_again():
    network = Chances()
    begun = written(network, network.listen(None))
    assert begun.free == (5,)
    assert begun.score == pytest.approx(-1.5)
    network.asked.clear()
    texts = [[(5, 3)], [(5,)]]
    assert scored(network, begun, texts) == pytest.approx(likely(Chances(), (5, 3), (5,)))
    assert network.asked == [[3]]


def test_what_was_asked_ahead_is_not_asked_again_and_further_texts_go_on_from_it():
    network = Chances()
    begun = written(network, network.listen(None))
    texts = [[(3, 4, 5)], [(4, 4), (4, 5)], [(5, 3)]]
    ahead = asked_ahead(network, begun, texts, lambda: True)
    network.asked.clear()
    found = scored(network, ahead, [*texts, [(3, 4, 3)]])
    assert [piece for step in network.asked for piece in step] == [3], "the last piece of the further one"
    assert found == pytest.approx(scored(network, begun, [*texts, [(3, 4, 3)]]))
    with pytest.raises(TooLateError):
        asked_ahead(network, begun, texts, lambda: False)


def test_the_time_is_kept_and_what_nobody_waits_for_is_dropped():
    times = iter([0.0, 2.0, 4.0])
    with pytest.raises(TooLateError):
        likely(Chances(), (3, 4, 5, 3, 3, 4, 5, 3, 3, 4, 5, 3, 3, 4, 5, 3), until=1.0, clock=lambda: next(times))
    network = Chances()
    with ThreadPoolExecutor(1) as worker:
        taken = Ahead(worker, partial(listened, network, np.zeros(16, np.int16), np.zeros(4, np.int16)))
        assert taken.result(10.0).begun.free == (5,)
        assert taken.result(10.0).noise.free == ()
        held = threading.Event()
        worker.submit(held.wait, 10.0)
        dropped = Ahead(worker, partial(listened, network, np.zeros(16, np.int16), None))
        with pytest.raises(TooLateError):
            dropped.result(0.0)
        dropped.drop()
        network.asked.clear()
        held.set()
    assert network.asked == []
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
    found = {" ".join(one.text): one.general for one in weighed}
    assert found[said] > max((score for text, score in found.items() if score and text != said), default=-99)
    assert next(one for one in weighed if " ".join(one.text) == said).score == NOT_LISTED
    assert found["[unk]"] is None


def test_at_a_closed_question_it_is_asked_about_noise_alone_too_and_gives_up_nothing_near(ear, beckett):
    """A phrase as unlike what was said as can be is told all the same; 40 phrases that fit worse are not asked."""
    begin, said, near = beckett[: 3 * 16_000], "ever tried ever failed", "never cried never sailed"
    far = "giraffe magnolia bassoon chutney"
    others = [f"{one} {other}" for one in ("red", "blue", "green", "yellow", "black") for other in CREATURES]
    grammar = phrases([said, near, far, *others]).automaton()
    noise = np.random.default_rng(5).normal(0, 300, 8_000).astype(np.int16)
    heard = (hypothesis(*far.split()), hypothesis("[unk]", score="-1"))
    weighed, opinion = ear.weigh(begin, heard, grammar, noise)
    found = {" ".join(one.text): one for one in weighed}
    gained = {text: one.general - one.habit for text, one in found.items() if one.general is not None}
    assert gained[said] > gained[near] > gained[far]
    assert opinion.likelihood - opinion.habit > 20
    assert len(gained) < len(others)
    assert ear.weigh(begin, heard, grammar, NO_NOISE)[1].habit is None


CREATURES = ("cat", "dog", "horse", "mouse", "goat", "sheep", "bird", "fish")


def test_where_nothing_was_heard_before_the_noise_is_that_before_the_first_word(ear, beckett):
    """As when the voice begins in noise that the listener has not learned yet."""
    noise = np.random.default_rng(5).normal(0, 300, 16_000).astype(np.int16)
    sound, said, near = np.concatenate([noise, beckett[: 3 * 16_000]]), "ever tried ever failed", "no matter"
    grammar = phrases([said, near]).automaton()
    late = Hypothesis((SpokenWord("no", 1_000, 1_300, Decimal(1)), SpokenWord("matter", 1_300, 1_600, Decimal(1))),
                      Decimal(0))  # fmt: skip
    weighed, opinion = ear.weigh(sound, (late,), grammar, NO_NOISE)
    assert opinion.habit is not None
    assert next(one for one in weighed if one.text == tuple(said.split())).habit is not None
    assert ear.weigh(sound, (hypothesis("no", "matter"),), grammar, NO_NOISE)[1].habit is None


def scorer(**settings):
    """Ask a network to which all but three pieces are alike; the list of pieces writes each letter alone."""
    return GeneralScorer(Chances(300), PIECES, NUMBERS, "test", **settings)


PIECES = Pieces(b"".join(bytes([1, byte]) for byte in range(256)) + b"\x01a\x01b\x01c")
YES = phrases(["yes"]).automaton()


def test_late_it_says_nothing_and_the_list_stays_as_it_was_and_after_some_times_it_is_left_out():
    asked = scorer(budget_s=-1.0)
    heard = (hypothesis("yes"),)
    found = [asked.weigh(NO_NOISE, heard, YES, NO_NOISE) for _ in range(LATE_IN_A_ROW + 1)]
    assert [weighed for weighed, _ in found] == [heard] * (LATE_IN_A_ROW + 1)
    assert [opinion and (opinion.late, opinion.likelihood, opinion.left_out) for _, opinion in found] == [
        (True, None, False), (True, None, False), (True, None, True), None
    ]  # fmt: skip
    assert asked.ahead(NO_NOISE, YES, NO_NOISE) is None


def test_late_now_and_then_it_is_asked_on():
    asked = scorer()
    heard = (hypothesis("yes"),)
    for budget in (-1.0, -1.0, 60.0, -1.0, -1.0, 60.0):
        asked._budget_s = budget
        _, opinion = asked.weigh(NO_NOISE, heard, YES, NO_NOISE)
        assert opinion.late is (budget < 0)
        assert not opinion.left_out


def test_what_was_listened_to_ahead_is_weighed_as_the_utterance_is():
    asked = scorer(budget_s=60.0)
    heard = (hypothesis("yes"),)
    noise = np.ones(8_000, np.int16)
    ahead = asked.ahead(np.ones(16_000, np.int16), YES, noise)
    assert asked.weigh(NO_NOISE, heard, YES, noise, ahead) == asked.weigh(NO_NOISE, heard, YES, noise)


def test_about_a_short_stop_that_leads_it_is_asked_alone_and_about_a_longer_one_never(ear, beckett):
    """Nobody says "stop" in the recording; late, what our ears heard stays as it was."""
    begin, grammar = beckett[: 2 * 16_000], phrases(["stop", "stop work"]).automaton()
    heard = (hypothesis("stop"), hypothesis("[unk]", score="-1"))
    ear._cry_budget_s = 60.0
    weighed, opinion = ear.weigh(begin, heard, grammar, NO_NOISE)
    assert opinion.stop_alone
    assert [one.text for one in weighed] == [one.text for one in heard]
    assert weighed[0].general - opinion.likelihood < -5
    assert weighed[1].general is None
    ear._cry_budget_s = 0.0
    assert ear.weigh(begin, heard, grammar, NO_NOISE) == (heard, None)
    longer = (hypothesis("stop", "work"),)
    assert ear.weigh(begin, longer, grammar, NO_NOISE) == (longer, None)


@pytest.mark.slow("the library's own way takes 0.2 s for each piece")
def test_packed_networks_say_what_the_files_say(plan, ear, beckett):
    """The files played by the library as they are, against the same weights in the networks drawn anew."""
    onnxruntime = pytest.importorskip("onnxruntime")
    from handsfree.hearing.general import network  # noqa: PLC0415 - the library is an extra

    folder = plan.folder.path
    encoder, decoder = (
        onnxruntime.InferenceSession(str(folder / name), providers=["CPUExecutionProvider"])
        for name in ("encoder_model.ort", "decoder_model_merged.ort")
    )
    sound = beckett[: 2 * 16_000]
    (states,) = encoder.run(None, {"input_values": network.prepared(sound)})
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
    text = tuple(pieces[1:-1])
    assert likely(ear._network, text, sound=sound)[text] == pytest.approx(float(expected), abs=0.35)
