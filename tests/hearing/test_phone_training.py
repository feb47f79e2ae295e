"""What the training of the network for phones promises: its weights, as written, compute what it computes."""

from __future__ import annotations

import json
import random
from dataclasses import asdict
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="PyTorch is not installed: it is needed for training only")

import onnx  # noqa: E402
import onnxruntime  # noqa: E402

from handsfree.hearing.general import phone_graph  # noqa: E402
from handsfree.hearing.general.phones import content  # noqa: E402
from models.training.phones_heard import HeardLine, joined  # noqa: E402
from models.training.phones_network import Heard, PhoneLayers, edits, phones_of, taught_by  # noqa: E402
from models.training.sound_store import RATE, Utterance  # noqa: E402


def as_shipped(states: np.ndarray) -> np.ndarray:
    """Compute the log probabilities (frames, 40) as the product does, by a graph of the phone network alone."""
    nodes, weights = phone_graph.drawn("states")
    put, got = (
        onnx.helper.make_tensor_value_info(name, onnx.TensorProto.FLOAT, [1, "frames", width])
        for name, width in (("states", 416), (phone_graph.OUTPUT, 40))
    )
    graph = onnx.helper.make_graph(nodes, "phones", [put], [got], weights)
    model = onnx.helper.make_model(graph, opset_imports=[onnx.helper.make_opsetid("", 17)], ir_version=9)
    session = onnxruntime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    return session.run(None, {"states": states[None]})[0][0]


def test_the_product_computes_from_the_weights_as_written_what_the_network_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    torch.manual_seed(1)
    layers = PhoneLayers(width=64, layers=2).eval()
    for name, weight in layers.named_parameters():  # normalisation that does something
        if weight.dim() == 1:
            weight.data.normal_(1.0 if name.endswith("weight") else 0.0, 0.3)
    layers.write(tmp_path / "phones.npz")
    monkeypatch.setattr(phone_graph, "content", (tmp_path / "phones.npz").read_bytes)
    states = np.random.default_rng(2).normal(size=(37, 416)).astype(np.float32)
    with torch.no_grad():
        expected = layers(torch.from_numpy(states)[None])[0].numpy()

    found = as_shipped(states)

    assert found.shape == (37, 40)
    assert np.ptp(expected, axis=0).min() > 0.1
    assert np.abs(found - expected).max() < 0.01  # weights are written in half precision


def test_the_weights_that_ship_are_of_a_network_as_it_is_trained_here() -> None:
    with np.load(BytesIO(content())) as file:
        weights = {name: torch.from_numpy(file[name].astype(np.float32)) for name in file.files}
    layers = PhoneLayers().eval()
    layers.load_state_dict(weights)
    states = np.random.default_rng(3).normal(size=(20, 416)).astype(np.float32)
    with torch.no_grad():
        expected = layers(torch.from_numpy(states)[None])[0].numpy()
    assert np.abs(as_shipped(states) - expected).max() < 1e-3


def test_a_smaller_share_of_people_is_among_those_of_a_larger() -> None:
    speakers = [f"speechocean762 {number}" for number in range(4000)]
    shares = [{one for one in speakers if taught_by(one, share, voices=True)} for share in (0.0, 0.25, 0.5, 1.0)]
    assert [len(each) / 4000 for each in shares] == pytest.approx([0, 0.25, 0.5, 1], abs=0.03)
    assert shares[0] < shares[1] < shares[2] < shares[3]


def test_a_person_of_two_collections_is_one() -> None:
    """Both collections name the speakers of Speech Commands by the same marks."""
    names = [f"{number:08x}" for number in range(50)]
    first, second = (
        [taught_by(f"{collection} {name}", 0.5, voices=True) for name in names]
        for collection in ("commands", "speech-commands-bed-cat-happy")
    )
    assert first == second
    assert set(first) == {True, False}


def test_voices_and_those_who_are_not_told_are_no_share_of_people() -> None:
    speakers = ("espeak en-us+m1", "nano en-US", "wake-words untold", "none")
    assert [taught_by(one, 0.0, voices=True) for one in speakers] == [True, True, True, True]
    assert [taught_by(one, 0.0, voices=False) for one in speakers] == [False, False, True, True]


@pytest.mark.parametrize(("found", "expected"), [("kitten", "sitting"), ("saturday", "sunday")])
def test_edits_are_counted_as_wagner_and_fischer_do(found: str, expected: str) -> None:
    """The two usual examples of their algorithm (1974), three edits each."""
    assert edits([*map(ord, found)], [*map(ord, expected)]) == 3
    assert edits([], [1, 2]) == edits([1, 2], []) == 2


def test_a_phone_counts_once_for_its_stretch_and_again_after_a_blank() -> None:
    """The mapping of Graves et al. (2006): repeated labels merge, then blanks go; a-ab- and -aa--abb give aab."""
    assert phones_of([1, 0, 1, 2, 0]) == phones_of([0, 1, 1, 0, 0, 1, 2, 2]) == [1, 1, 2]


def test_a_row_joined_anew_is_of_one_speaker_and_holds_what_its_words_say() -> None:
    tones = {word: np.sin(np.arange(RATE // 4) * pitch / 20) for word, pitch in (("one", 1), ("two", 3))}
    quiet = np.zeros(RATE // 2)
    alone = [
        Utterance(np.concatenate([quiet, tone, quiet]).astype(np.float32), (word,), "digits s1")
        for word, tone in tones.items()
    ]
    row = joined(alone, random.Random(3))
    assert row.speaker == "digits s1"
    assert len(row.words) > 1
    # a quarter of a second each, with at most 0.09 s kept on both sides and a pause of at most 0.14 s
    assert 0.25 <= len(row.samples) / RATE / len(row.words) <= 0.25 + 2 * 0.09 + 0.14
    spectrum = np.abs(np.fft.rfft(row.samples))
    at = [round(pitch / 20 / (2 * np.pi) * len(row.samples)) for pitch in (1, 3)]
    strongest = [spectrum[place - 9 : place + 10].max() for place in at]
    counts = [row.words.count(word) for word in ("one", "two")]
    assert all((power > 100) == (count > 0) for power, count in zip(strongest, counts, strict=True))


def test_of_each_block_the_states_of_those_who_teach_are_taken(tmp_path: Path) -> None:
    """Two blocks of two speakers; one of them is left out, and each keeps its own frames and phones."""
    frames = {"an4 a": 3, "an4 b": 5}
    for block in range(2):
        lines = [HeardLine(length, who, [[[block + 1]]]) for who, length in frames.items()]
        states = np.concatenate([np.full((one.frames, 416), 10 * block + one.frames, np.float16) for one in lines])
        np.save(tmp_path / f"train-{block:02d}.npy", states)
        told = "".join(json.dumps(asdict(one)) + "\n" for one in lines)
        (tmp_path / f"train-{block:02d}.jsonl").write_text(told, "utf-8")

    heard = Heard(tmp_path, "train", "cpu", lambda who: who == "an4 b")

    batch = heard.batch([0, 1], lambda ways: ways[0][0])
    assert batch.states.shape == (2, 5, 416)
    assert [float(one[0, 0]) for one in batch.states] == [5.0, 15.0]
    assert [batch.frames.tolist(), batch.phones, batch.speakers] == [[5, 5], [[1], [2]], ["an4 b"] * 2]
