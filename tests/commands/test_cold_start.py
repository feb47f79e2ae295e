"""What `handsfree` loads: no more than the command that is used needs, and what it says without loading it."""

from __future__ import annotations

import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import handsfree.commands
from handsfree import __version__
from handsfree.commands.families import FAMILIES, _Commands

HEAVY = (
    "numpy", "scipy", "pydantic", "ruamel", "rich", "cryptography", "starlette", "uvicorn", "transitions", "vosk",
    "soundfile", "sounddevice", "pyttsx3", "ibis", "jinja2", "reportlab", "matplotlib",
)  # fmt: skip
PROGRAM = """
import sys
from handsfree.commands.app import app
try:
    app(sys.argv[1:], prog_name="handsfree")
finally:
    sys.stderr.write(" ".join(sorted(sys.modules)))
"""


def loaded(*arguments: str) -> tuple[str, set[str]]:
    """Return what a fresh process printed, and the modules it had loaded at its end."""
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *arguments], capture_output=True, text=True, timeout=60, check=True
    )
    return done.stdout, set(done.stderr.split())


@pytest.mark.parametrize("arguments", [("--version",), ("--help",)])
def test_version_and_overview_load_no_library_of_a_command(arguments: tuple[str, ...]) -> None:
    """Neither arithmetic nor sound, record or pages; nor any module of the program beside these."""
    told, modules = loaded(*arguments)
    assert told.startswith("handsfree " + __version__) or "Commands:" in told
    assert modules.isdisjoint(HEAVY)
    assert {name for name in modules if name.startswith("handsfree")} == {
        "handsfree", "handsfree.problem",
        "handsfree.commands", "handsfree.commands.app", "handsfree.commands.families",
    }  # fmt: skip


def test_what_is_looked_for_is_there_to_be_found() -> None:
    """A command that needs them loads some: the names above are right."""
    _, modules = loaded("verify", "--help")
    assert {"rich", "pydantic", "cryptography"} & modules


@pytest.mark.parametrize("name", [name for family in FAMILIES.values() for name in family])
def test_the_overview_says_of_each_command_what_it_says_of_itself(name: str) -> None:
    """The first paragraph of the command's own help."""
    line = next(family[name] for family in FAMILIES.values() if name in family)
    assert line == " ".join(_Commands()[name].help.split("\n\n")[0].split())


def test_every_command_of_a_module_is_in_the_overview() -> None:
    """A command that is registered and not named would be lost."""
    registering = {
        file.stem
        for file in Path(handsfree.commands.__file__).parent.glob("*.py")
        if {"@app.command", "app.add_typer"} & set(re.findall(r"@?app\.\w+", file.read_text("utf-8")))
    }
    assert registering == set(FAMILIES)
    for module, family in FAMILIES.items():
        app = import_module(f"handsfree.commands.{module}").app
        names = {each.name or each.callback.__name__.replace("_", "-") for each in app.registered_commands}
        names |= {each.name for each in app.registered_groups}
        assert names == set(family)
