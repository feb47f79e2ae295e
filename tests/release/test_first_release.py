"""The newcomer's page, every line of it, from an empty folder to a signed procedure that leads a visit."""

from __future__ import annotations

import shlex
import shutil
import subprocess
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.bundles.archive import read_bundle
from handsfree.commands.app import app
from handsfree.ledger import read

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "procedures" / "FIRST-RELEASE.md"


def commands() -> list[str]:
    """Return the lines that stand by themselves on the page."""
    lines = PAGE.read_text("utf-8").splitlines()
    return [line.strip() for line in lines if line.startswith("    ")]


@pytest.mark.slow("two releases, each with all its proofs and stories")
def test_the_page_leads_from_nothing_to_a_visit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each command does what the page says of it; the visit is left open, since nobody answers."""
    monkeypatch.setenv("HANDSFREE_STATE", str(tmp_path / "state"))
    monkeypatch.chdir(tmp_path)
    for name in ("jobsheet.yaml", "appliance-24.yaml"):
        shutil.copy(ROOT / "handsfree" / "demo" / name, tmp_path / name)
    Path("jobsheet.yaml").rename("job.yaml")
    said: dict[str, str] = {}
    for line in commands():
        words = shlex.split(line)
        if words[0] == "sed":
            subprocess.run(words, check=True)
            continue
        assert words[0] == "handsfree"
        result = CliRunner().invoke(app, words[1:])
        assert result.exit_code == (3 if words[1] == "visit" else 0), (line, result.output, result.exception)
        said[line] = result.output
    assert next(iter(read(Path("visit")))).event["standing"]["by"] == "A. Author"
    assert read_bundle(Path("bundles", "my-check-2.0.0.zip")).approval.after == "1.0.0"
    assert said["handsfree take --back my-check"].strip() == "my-check 1.0.0 is in use"
    told = said["handsfree take"].splitlines()
    assert told[0].endswith(": in use")
    assert "NOT USED: A. Author withdrew it" in told[1]
    assert told[1].endswith("the wrong words")
