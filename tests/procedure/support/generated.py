"""Proven procedures of any size: stages that alter and restore things, loops with bounds, readings and stops."""

from __future__ import annotations

HEAD = """\
handsfree: 2
procedure: big
title: Generated
purpose: To be timed.
things:
"""
STAGE = """\
  - {{id: s{n}-alter, kind: confirm, title: Alter it, source: generated, prompt: Alter it., done: [maximum held],
     alters: [t{t}], not_done: false}}
  - {{id: s{n}-read, kind: readings, title: Read it, source: generated, needs: {{t{t}: held}},
     prompt: "Water pressure?", ask: [{{quantity: water_pressure}}], point: w{n}, at_most: 3, exhausted: stop}}
  - {{id: s{n}-ask, kind: choice, title: Ask it, source: generated, prompt: "Good, low or broken?", not_done: stop,
     answers: {{good: {{heard: [in order], then: s{n}-back}}, low: {{heard: [too low], then: s{n}-read}},
               broken: {{heard: [faulty], then: stop}}}}}}
  - {{id: s{n}-back, kind: {back}
"""
END = """\
  - {id: put-back, kind: restore, title: Put back, source: generated, things: [%s]}
  - {id: finish, kind: finish, title: Finish, source: generated}
  - {id: stop, kind: stop, title: Stop it, source: generated, script: Leave it off.}
"""


def text(gates: int, things: int) -> str:
    """Return a proven procedure of about so many gates, and three at least."""
    names = [f"t{i}" for i in range(things)]
    parts = [HEAD]
    parts += [f"  {name}: {{said: Thing {name}, altered: held, restored: fitted}}\n" for name in names]
    parts.append("gates:\n")
    stages = (gates - 3) // 4
    for n in range(stages):
        restored = f"restore, title: Put it back, source: generated, things: [t{n % things}]}}"
        left = "confirm, title: Look again, source: generated, prompt: Look again., done: [all clean]}"
        parts.append(STAGE.format(n=n, t=n % things, back=restored if n % 3 else left))
    return "".join(parts) + END % ", ".join(names)
