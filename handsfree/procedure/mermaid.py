"""A procedure as Mermaid text, for pages that render it; with the path that a visit really walked."""

from __future__ import annotations

import re
from collections.abc import Sequence

from handsfree.gates.outcomes import DONE, ENDS, FINISHED
from handsfree.procedure.drawing import ASIDE, Stay, clock, walked
from handsfree.procedure.procedure import Procedure


def mermaid(procedure: Procedure, stays: Sequence[Stay] = ()) -> str:
    """Return the procedure as a Mermaid flowchart."""
    seconds = walked(stays).seconds
    names = {gate_id: f"g{number}" for number, gate_id in enumerate(procedure.gates)}
    names |= {end: end for end in ENDS}
    lines = ["flowchart TD"]
    for gate_id, placed in procedure.gates.items():
        label = "<br/>".join(
            _quoted(part) for part in (gate_id, placed.gate.title, placed.gate.drawing().does) if part
        )
        if gate_id in seconds:
            label += f"<br/>{clock(seconds[gate_id])}"
        opened, closed = placed.gate.drawing().brackets
        lines.append(f'  {names[gate_id]}{opened}"{label}"{closed}')
    lines.append(f'  {FINISHED}(["finished"])')
    for gate_id, placed in procedure.gates.items():
        for outcome, to in placed.transitions.items():
            arrow = "-.->" if outcome in ASIDE else "-->"
            said = "" if outcome == DONE else f'|"{_quoted(outcome)}"|'
            lines.append(f"  {names[gate_id]} {arrow}{said} {names[to]}")
    lines.append("  classDef stop fill:#fde8e8,stroke:#a33")
    lines.append("  classDef walked stroke:#06c,stroke-width:3px")
    stops = [names[g] for g, placed in procedure.gates.items() if placed.gate.effects.end == "stop"]
    if stops:
        lines.append(f"  class {','.join(stops)} stop")
    gone = [names[g] for g in seconds if g in names]
    if gone:
        lines.append(f"  class {','.join(gone)} walked")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return re.sub(r'["<>&#;|]', " ", text)
