"""Words that nobody taught our networks, in phrases of a procedure that does not ship.

Ten questions with four answers each; how the words that no dictionary has are said is proposed, as
`handsfree words` does for an author.
"""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from handsfree.commands.tried_words import with_proposed
from handsfree.procedure.procedure import Procedure, load_procedure

PHRASES = (
    ("flare nut tight", "flare nut weeping", "gasket perished", "olive crushed"),
    ("schrader core leaking", "schrader core seated", "cap missing", "valve stem bent"),
    ("thermistor shorted", "thermistor reading true", "harness chafed", "plug corroded"),
    ("siphon dry", "siphon primed", "condensate frozen", "hose kinked"),
    ("flange scaled", "bolts torqued", "sealant cured", "spigot loose"),
    ("lockshield closed", "radiator lukewarm", "manifold bled", "actuator stuck"),
    ("pilot lifting", "pilot sooty", "orifice drilled", "venturi clogged"),
    ("damper linkage slack", "damper linkage greased", "louvre jammed", "grille fouled"),
    ("magnetite sludge found", "strainer rinsed", "inhibitor dosed", "glycol topped up"),
    ("chimney lined", "cowl damaged", "flashing lifted", "terminal guarded"),
)


@cache
def procedure() -> Procedure:
    """Return the procedure, every word of which can be said."""
    gates = [
        f"  - {{id: asked-{number}, kind: choice, title: Question {number}, source: a bench, prompt: Found?,"
        f" not_done: stop, answers: {{{', '.join(_answer(number, place) for place in range(len(phrases)))}}}}}\n"
        for number, phrases in enumerate(PHRASES)
    ]
    text = (
        "handsfree: 2\nprocedure: new-words\ntitle: New words\npurpose: Phrases that no network was taught.\n"
        f"gates:\n{''.join(gates)}"
        "  - {id: finish, kind: finish, title: Finish, source: a bench}\n"
        "  - {id: stop, kind: stop, title: Stop, source: a bench, script: Boiler off.}\n"
    )
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "new-words.yaml"
        file.write_text(text, encoding="utf-8")
        return with_proposed(load_procedure(file))


def _answer(number: int, place: int) -> str:
    then = f"asked-{number + 1}" if number + 1 < len(PHRASES) else "finish"
    return f"answer-{place}: {{heard: [{PHRASES[number][place]}], then: {then}}}"
