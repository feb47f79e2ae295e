"""A STOP, or a hazard, that was not taken is sent again by the page until it was, or the picture shows it."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from handsfree import glance

SCRIPT = Path(glance.__file__).with_name("page") / "glance.js"


@pytest.mark.parametrize("name", ["stop", "hazard gas-smell"])
@pytest.mark.parametrize(("way", "most"), [("answer", 4), ("picture", 6)])
def test_a_stop_is_sent_until_it_was_taken(way, most, name):
    """The first is lost, the second refused, the third hangs; the fourth is answered or seen in the picture."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("the page's script is run by node, which is not installed")
    command = [node, str(Path(__file__).with_name("stop_again.js")), str(SCRIPT), way, name]
    done = subprocess.run(command, capture_output=True, timeout=30, check=True)
    told = json.loads(done.stdout)
    assert set(told["sent"]) == {name}
    assert 4 <= len(told["sent"]) <= most
    assert told["told"] == ""
