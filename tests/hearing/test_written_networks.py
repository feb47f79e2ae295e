"""Networks in the recogniser's own form are read back as they were written."""

import io
from pathlib import Path

import numpy as np
import pytest

from handsfree.hearing.units import Units
from handsfree.lexicon.pronunciation import PHONES
from models.training.acoustic_model import acoustic_model, layers_of
from models.training.compressed_matrix import eight_bits, sixteen_bits, values_of

SHIPPED = Path(__file__).parents[2] / "models" / "english"
VALUES = np.random.default_rng(1).normal(0, 1, (50, 30)).astype(np.float32)


def test_sixteen_bits_keep_values_to_half_a_step():
    step = (VALUES.max() - VALUES.min()) / 65535
    assert np.abs(values_of(io.BytesIO(sixteen_bits(VALUES))) - VALUES).max() <= 0.51 * step


def test_eight_bits_keep_values_to_half_of_the_coarsest_step_of_their_column():
    """A byte counts 64, 128 and 63 steps between a column's least value, its quartiles and its greatest."""
    marks = np.quantile(VALUES, (0, 0.25, 0.75, 1), axis=0)
    coarsest = (np.diff(marks, axis=0) / np.array([[64], [128], [63]])).max(0)
    error = np.abs(values_of(io.BytesIO(eight_bits(VALUES))) - VALUES).max(0)
    assert (error <= 0.6 * coarsest).all()
    assert error.max() > 1e-4  # it is coarser than sixteen


def test_anything_else_is_no_matrix():
    with pytest.raises(ValueError, match="no compressed matrix"):
        values_of(io.BytesIO(b"FM \4\0\0\0"))


@pytest.mark.parametrize("network", sorted((SHIPPED / "am").glob("*.mdl")), ids=lambda file: file.name)
def test_a_shipped_network_is_read_back_whole_and_written_again_the_same(network):
    written = network.read_bytes()
    layers = layers_of(written)
    priors = np.full(len(PHONES) + 1, 1.0, dtype=np.float32)

    again = layers_of(acoustic_model(Units(PHONES), layers, priors, sixteen_bits))

    assert layers[0].offsets == (-2, -1, 0, 1, 2)
    assert len(layers[-1].bias) == len(PHONES) + 1
    for one, same in zip(layers, again, strict=True):
        assert (one.name, one.offsets, one.rectified) == (same.name, same.offsets, same.rectified)
        assert (one.skip, one.skip_scale) == (same.skip, same.skip_scale)
        assert np.array_equal(one.bias, same.bias)
        reach = float(np.ptp(one.weights))
        assert np.abs(one.weights - same.weights).max() <= reach / 65535


def test_what_is_no_network_of_ours_is_told():
    with pytest.raises(ValueError, match="no network of ours"):
        layers_of(b"\0B<TransitionModel> ")
