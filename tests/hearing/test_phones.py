"""Phones in what the third opinion listens to: their likelihoods by the definition, the search by trying all.

Connectionist temporal classification: A. Graves, S. Fernández, F. Gomez and J. Schmidhuber, ICML 2006, equation 3:
the probability of a labelling is the sum over all paths that become it, repeats merged and blanks left out.
"""

from __future__ import annotations

import math
from decimal import Decimal
from io import BytesIO
from itertools import groupby, product

import numpy as np
import pytest

from handsfree.hearing.alternatives import Hypothesis, SpokenWord
from handsfree.hearing.general import phones
from handsfree.hearing.general.judging import GeneralScorer
from handsfree.hearing.general.phone_search import PhoneSearch
from handsfree.hearing.general.pieces import Pieces
from handsfree.hearing.general.scoring import Begun, Progress
from handsfree.lexicon.automaton import phrases, repeated
from handsfree.lexicon.pronunciation import PHONES, Pronunciations
from handsfree.procedure.languages import english

PIECES = Pieces(b"".join(bytes([1, byte]) for byte in range(256)) + b"\x01a\x01b\x01c")
SPELLED = Pronunciations({"ada": "AA D AA", "deed": "D IY D", "do": "D UW", "eye": "AY", "ado": "AA D UW"})
KNOWN = len(PHONES) + 1


def chances(frames, seed, among=None):
    """Return random log probabilities, (frames, no phone and each phone), of some phones alone."""
    random = np.random.default_rng(seed)
    values = random.normal(0, 2, (frames, KNOWN))
    if among is not None:
        left_out = np.setdiff1d(np.arange(KNOWN), [0, *among])
        values[:, left_out] = -30
    return (values - np.log(np.exp(values).sum(axis=1, keepdims=True))).astype(np.float32)


def paths(logs, among):
    """Yield each path of the labels given: what it becomes, and its log probability."""
    for path in product([0, *among], repeat=len(logs)):
        merged = tuple(label for label, _ in groupby(path) if label)
        yield merged, float(sum(log[label] for log, label in zip(logs, path, strict=True)))


def test_the_likelihood_of_phones_is_the_sum_over_all_paths_that_become_them():
    among = [1, 2, 3]
    logs = chances(5, 7, among)
    sums = {}
    for merged, log in paths(logs, among):
        sums[merged] = sums.get(merged, 0.0) + math.exp(log)
    asked = [(1,), (1, 2), (2, 2), (3, 1, 3), (1, 1, 1), (1, 2, 3, 1, 2)]
    found = phones.likelihoods(logs, [[way] for way in asked])
    assert found == pytest.approx([math.log(sums[way]) for way in asked], abs=1e-4)
    assert phones.anything(logs) == pytest.approx(max(log for _, log in paths(logs, among)), abs=1e-4)


def test_a_sentence_said_in_two_ways_is_as_likely_as_both_and_one_too_long_for_the_sound_never():
    logs = chances(4, 3)
    one, other = phones.likelihoods(logs, [[(5, 6)], [(5, 7)]])
    both, never, none = phones.likelihoods(logs, [[(5, 6), (5, 7)], [(1, 2, 3, 4, 5)], []])
    assert both == pytest.approx(np.logaddexp(one, other))
    assert never == none == -math.inf
    assert phones.likelihoods(logs[:0], [[(1,)]]) == [-math.inf]


def test_ways_follow_from_the_words_and_a_word_that_nobody_knows_has_none():
    assert phones.ways(["do", "eye"], SPELLED) == (phones.numbers(("D", "UW", "AY")),)
    assert phones.ways(["do", "xyzzy"], SPELLED) == ()
    assert len(phones.ways(["tomato"] * 8, Pronunciations())) == phones.MOST_WAYS


def test_the_search_finds_the_sentence_of_the_likeliest_path_among_all():
    texts = ["ada", "deed", "do", "eye do", "ado eye", "eye eye do"]
    search = PhoneSearch(phrases(texts).automaton(), SPELLED)
    spelled = {text: phones.ways(text.split(), SPELLED)[0] for text in texts}
    for seed in range(12):
        among = sorted({number for way in spelled.values() for number in way})
        logs = chances(7, seed, among)
        best = {text: max_path(logs, way) for text, way in spelled.items()}
        found = search.best(logs)
        assert " ".join(found[0]) == max(best, key=best.__getitem__)
        assert len(set(found)) == len(found)


def max_path(logs, way):
    """Return the log probability of the likeliest path that becomes the phones: by trying every one of them."""
    labels = [0 if place % 2 == 0 else way[place // 2] for place in range(2 * len(way) + 1)]

    def best_from(place, frame):
        here = float(logs[frame][labels[place]])
        if frame == len(logs) - 1:
            return here if place >= len(labels) - 2 else -math.inf
        leaps = place + 2 < len(labels) and labels[place + 2] and labels[place + 2] != labels[place]
        following = [place, *([place + 1] if place + 1 < len(labels) else []), *([place + 2] if leaps else [])]
        return here + max(best_from(after, frame + 1) for after in following)

    return max(best_from(place, 0) for place in (0, 1))


def test_words_may_follow_each_other_as_often_as_the_grammar_says():
    """Twice the same word, with a frame of no phone between."""
    said = [phones.numbers((phone,))[0] for phone in ("D", "UW")]
    frames = [said[0], said[1], 0, said[0], said[1], 0]
    logs = np.full((len(frames), KNOWN), -9.0, np.float32)
    logs[np.arange(len(frames)), frames] = -0.01
    search = PhoneSearch(repeated(phrases(["do", "eye"])).automaton(), SPELLED)
    assert search.best(logs)[0] == ("do", "do")
    assert search.best(logs[:0]) == ()


def test_the_drawn_network_tells_what_its_weights_say():
    """The graph run by the library, against the same sums written out with the error function of `math`."""
    onnxruntime = pytest.importorskip("onnxruntime")
    onnx = pytest.importorskip("onnx")
    from handsfree.hearing.general import phone_graph  # noqa: PLC0415 - needs the extra's library

    nodes, weights = phone_graph.drawn("states")
    taken, told = (
        onnx.helper.make_tensor_value_info(name, onnx.TensorProto.FLOAT, [1, "frames", wide])
        for name, wide in (("states", 416), (phone_graph.OUTPUT, KNOWN))
    )
    graph = onnx.helper.make_graph(nodes, "phones", [taken], [told], weights)
    model = onnx.helper.make_model(graph, opset_imports=[onnx.helper.make_opsetid("", 17)], ir_version=9)
    states = np.random.default_rng(0).normal(0, 1, (1, 9, 416)).astype(np.float32)
    session = onnxruntime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    (found,) = session.run(None, {"states": states})
    assert np.allclose(found[0], written_out(states[0]), atol=1e-3)


def written_out(states):
    """Return the log probabilities of (frames, 416) states by plain sums."""
    with np.load(BytesIO(phones.content())) as file:
        weights = {name: file[name].astype(np.float64) for name in file.files}
    now = level(states, weights, "inn") @ weights["first.weight"].T + weights["first.bias"]
    for block in range(3):
        heard = np.pad(level(now, weights, f"norms.{block}"), ((2, 2), (0, 0)))
        weight = weights[f"convs.{block}.weight"]
        summed = [
            sum(weight[:, :, place] @ heard[frame + place] for place in range(5)) + weights[f"convs.{block}.bias"]
            for frame in range(len(now))
        ]
        now = now + np.vectorize(lambda x: x * (1 + math.erf(x / math.sqrt(2))) / 2)(np.array(summed))
    told = level(now, weights, "last") @ weights["out.weight"].T + weights["out.bias"]
    return told - np.log(np.exp(told).sum(axis=1, keepdims=True))


def level(values, weights, name):
    """Return rows brought to mean 0 and deviation 1, then scaled and moved."""
    spread = np.sqrt(values.var(axis=1, keepdims=True) + 1e-5)
    even = (values - values.mean(axis=1, keepdims=True)) / spread
    return even * weights[f"{name}.weight"] + weights[f"{name}.bias"]


def test_a_scorer_says_words_as_the_procedure_at_hand_spells_them():
    """A desk hears the records of many procedures again with one scorer."""
    scorer = GeneralScorer(None, PIECES, english().numbers, "test")
    asked = Hypothesis((SpokenWord("ada", 0, 300, Decimal(1)),), Decimal(0))
    logs = chances(6, 1)
    begun = Begun.of(Progress(np.zeros((1, 6), np.float32), (), (), np.zeros((0, 0), bool), logs))
    (before,) = scorer._with_phones([asked], begun)
    scorer.take_up(SPELLED)
    (after,) = scorer._with_phones([asked], begun)
    assert before.phones != after.phones is not None
