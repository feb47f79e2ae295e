"""What the training code promises: the recogniser computes what the trained network computes."""

import importlib
import itertools
import json
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="PyTorch is not installed: it is needed for training only")

from handsfree.hearing.graph import Tuning  # noqa: E402
from handsfree.hearing.margins import margin, with_faint_noise  # noqa: E402
from handsfree.hearing.recogniser import SAMPLE_RATE, Recogniser  # noqa: E402
from handsfree.lexicon.automaton import phrase  # noqa: E402
from handsfree.lexicon.pronunciation import PHONES  # noqa: E402
from models.training.acoustic_model import layers_of  # noqa: E402
from models.training.competing import PhoneSequences, SumOfAllWays  # noqa: E402
from models.training.export import export  # noqa: E402
from models.training.features import Filterbank, mel_bank  # noqa: E402
from models.training.loss import full_sum_loss, ways_of  # noqa: E402
from models.training.network import Network, Shape  # noqa: E402
from models.training.sum_of_ways import sum_of_ways  # noqa: E402

MODEL = Path(__file__).parents[2] / "models" / "english"


def test_the_features_are_those_of_kaldi():
    """kaldi-native-fbank, the reference implementation as a library."""
    knf = pytest.importorskip("kaldi_native_fbank", reason="kaldi-native-fbank is not installed")
    options = knf.FbankOptions()
    options.frame_opts.dither, options.frame_opts.samp_freq, options.frame_opts.snip_edges = 0, 16_000, True
    options.mel_opts.num_bins, options.mel_opts.low_freq, options.mel_opts.high_freq = 40, 20, -400
    options.use_energy, options.energy_floor = False, 0.0
    sound = (np.random.default_rng(0).normal(size=16_000) * 1000).round().astype(np.float32)
    reference = knf.OnlineFbank(options)
    reference.accept_waveform(16_000, sound.tolist())
    reference.input_finished()
    expected = np.stack([reference.get_frame(n) for n in range(reference.num_frames_ready)])
    assert np.abs(Filterbank()(torch.from_numpy(sound)[None])[0].numpy() - expected).max() < 1e-3


def test_stretching_moves_a_tone_to_another_bin():
    assert mel_bank(1.15)[100].argmax() > mel_bank(1.0)[100].argmax()


def test_the_loss_is_the_sum_over_every_way_to_place_the_phones():
    """Two phones in four frames: six placements, enumerated here one by one."""
    chance = torch.randn(1, 4, 3, generator=torch.Generator().manual_seed(1)).log_softmax(2)
    ways = [
        sum(chance[0, t, 1 if t == first else 2 if t == second else 0] for t in range(4))
        for first in range(4)
        for second in range(first + 1, 4)
    ]
    expected = -torch.logsumexp(torch.stack(ways), 0) / 2
    found = full_sum_loss(chance, torch.tensor([4]), torch.tensor([[1, 2]]), torch.tensor([2]))
    assert float(found) == pytest.approx(float(expected), rel=1e-5)


def test_the_sum_over_all_rivals_is_that_of_every_sequence_counted_one_by_one():
    """Three phones, up to five frames: all 364 sequences enumerated, and PyTorch's own derivative of that sum."""
    chance = torch.Generator().manual_seed(2)
    said = [torch.randint(1, 4, (length % 4,), generator=chance).tolist() for length in range(60)]
    sequences = PhoneSequences(said, 4).double()
    scores = torch.randn(3, 5, 4, generator=chance, dtype=torch.float64).requires_grad_()
    frames = torch.tensor([5, 4, 2])
    each = []
    for length in range(6):
        for phones in itertools.product((1, 2, 3), repeat=length):
            rows, counts = torch.tensor([[*phones, 0]] * 3), torch.full((3,), length)
            each.append(ways_of(scores, frames, rows, counts) + sequences.log_probability(rows, counts))
    assert len(each) == 364
    expected = torch.logsumexp(torch.stack(each), 0)

    found = SumOfAllWays.apply(scores, frames, sequences.following)

    assert torch.allclose(found, expected)
    (slope,) = torch.autograd.grad(expected.sum(), scores)
    assert torch.allclose(torch.autograd.grad(found.sum(), scores)[0], slope)


def test_a_model_of_phone_sequences_shares_all_probability_out():
    sequences = PhoneSequences([[1, 2, 3], [1, 2], [2]], 4)
    reached = sequences.following[2, 1]
    assert torch.allclose(sequences.following.sum(2), torch.ones(4, 4))
    assert reached[3] > 0.4 > 0.1 > reached[1] > 0


def test_the_kernels_for_a_gpu_give_the_same_sum_and_slopes(monkeypatch: pytest.MonkeyPatch):
    """Run by their compiler's interpreter, against what PyTorch derives; one utterance is too short to be said."""
    monkeypatch.setenv("TRITON_INTERPRET", "1")  # read when it is first imported
    pytest.importorskip("triton", reason="Triton, the compiler of the GPU kernels, is not installed")
    kernels = importlib.import_module("models.training.loss_on_gpu")
    outputs = torch.randn(5, 23, 10, generator=torch.Generator().manual_seed(1)).log_softmax(2) + 0.7
    frames, counts = torch.tensor([23, 20, 5, 11, 3]), torch.tensor([9, 3, 8, 0, 3])
    found = []
    for way in (sum_of_ways, kernels.SumOfWays.apply):
        given = outputs.clone().requires_grad_()
        sums = way(given[:, :, 0], given[:, :, 1:], frames, counts)
        possible = sums > -1e4
        torch.where(possible, sums, 0.0).sum().backward()
        found.append((sums[possible], given.grad))
    assert len(found[0][0]) == len(found[1][0]) == 4
    for expected, got in zip(*found, strict=True):
        assert torch.allclose(got, expected, atol=2e-5)


@pytest.mark.parametrize(("bits", "near"), [(16, 2e-3), (8, 0.1)])
def test_the_recogniser_scores_a_word_as_the_network_does(bits: int, near: float, tmp_path: Path):
    """The best path of "go" worked out here from the network's own outputs, against the recogniser's score."""
    torch.manual_seed(3)
    network = Network(Shape(outputs=len(PHONES) + 1, width=64, bottleneck=16))
    for module in network.modules():  # normalisation that does something
        if isinstance(module, torch.nn.BatchNorm1d):
            module.running_mean.normal_(0, 0.3)
            module.running_var.uniform_(0.5, 2.0)
    network.mean.fill_(10.0)
    network.deviation.fill_(3.0)
    network.eval()
    torch.save(network.checkpoint(PHONES), tmp_path / "net.pt")
    # enough words that the folder passes for English; no filler, so that only "go" can be heard
    words = ["one", "two", "three", "four", "five", "yes", "no", "stop", "point", "go"]
    export([tmp_path / "net.pt"], tmp_path / "model", words, 6.0, Tuning(1000.0, 0.0, 0.0), bits)
    sound = (np.random.default_rng(1).normal(size=SAMPLE_RATE) * 1000).astype("<i2")
    with torch.no_grad():
        fed = np.frombuffer(margin() + with_faint_noise(sound.tobytes()) + margin(), "<i2").astype(np.float32)
        scores = network(Filterbank()(torch.from_numpy(fed)[None]))[0].numpy()
    scores[:, 1:] += 6.0  # what the prior of blank takes from blank

    recogniser = Recogniser(tmp_path / "model")
    recogniser.listen_for(phrase("go").automaton())
    recogniser.feed(sound.tobytes())
    recogniser.finish()

    silence = -0.9 * np.log(2)  # the library scales the costs of the graph by 0.9
    first, second = (PHONES.index(phone) + 1 for phone in ("G", "OW"))
    best = -np.inf
    total = scores[:, 0].sum()
    for at in range(len(scores)):
        for then in range(at + 1, len(scores)):
            placed = total + scores[at, first] - scores[at, 0] + scores[then, second] - scores[then, 0]
            best = max(best, placed + 2 * silence)
    only_silence = total + silence
    assert best > only_silence
    assert recogniser.best_score == pytest.approx(best, abs=near)
    assert json.loads((tmp_path / "model/conf/listening.json").read_text())["unknown_phone_cost"] == 1000.0


def test_a_written_network_trains_on_from_what_it_computes():
    """The shipped model's two networks, and features of noise of several levels."""
    sound = torch.randn(4, 3 * SAMPLE_RATE, generator=torch.Generator().manual_seed(4)) * 300
    features = Filterbank()(sound * torch.tensor([[1.0], [3.0], [0.3], [10.0]]))
    for name in ("final.mdl", "second.mdl"):
        layers = layers_of((MODEL / "am" / name).read_bytes())
        network = Network.from_layers(layers, dropout=0.0).eval()
        before = network(features)
        network.unfold(features)
        assert network.mean.abs().max() > 1
        assert (network.eval()(features) - before).abs().max() < 1e-2
        assert (network.train()(features).exp() - before.exp()).abs().max() < 1e-2  # by this batch's own spread
        for written, again in zip(layers, network.layers(), strict=True):
            assert (written.name, written.offsets, written.skip) == (again.name, again.offsets, again.skip)
            assert np.abs(written.weights - again.weights).max() < 1e-4
