"""A visit whose answers are really spoken, some of them attacked; it is heard again once for all tests."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent / "support"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "desk" / "support"))

from spoken_visits import attacked_visit, rendered_by_the_tool

from handsfree.rehearing.again import rehear
from handsfree.shipped import model_folder


@pytest.fixture(scope="session")
def attacked(tmp_path_factory):
    """The visit's folder, and which entry was attacked in which way."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HANDSFREE_STATE", str(tmp_path_factory.mktemp("state")))
        return attacked_visit(tmp_path_factory.mktemp("spoken") / "visit")


@pytest.fixture(scope="session")
def found(attacked):
    """What hearing it again found."""
    with rendered_by_the_tool() as render:
        return rehear(attacked.folder, model_folder(), render=render)
