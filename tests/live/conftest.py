"""The virtual closet of the live tests."""

from __future__ import annotations

import shutil
from ctypes.util import find_library

import pytest

from tests.live.support.closet import ClosetCard
from tests.speaking.conftest import NEEDED


@pytest.fixture(scope="module")
def closet(tmp_path_factory):
    """Start the card of two channels; this process is at the person's end of it."""
    if shutil.which("pulseaudio") is None or find_library("portaudio") is None:
        pytest.skip(f"no virtual sound card: install {NEEDED}")
    with pytest.MonkeyPatch.context() as patch:
        card = ClosetCard(tmp_path_factory.mktemp("closet"), patch)
        for name, end in ClosetCard.STAGE.items():
            patch.setenv(name, end)
        card.start()
        yield card
        card.stop()
