"""Fit the margin of short stop phrases: `python -m models.training.judge_short_stops HEARD... [--write]`.

HEARD are files of `python -m tests.bench.live.false_stops --parts tune --to FILE`: bare stops of people kept for
tuning, in silence and over noise, and talk in a quiet room. In noise a true stop leads what else it may have been
by little, in quiet by much; most other words lead by little everywhere. So the lead that is wanted rises with the
distance from the noise. A missed stop is the worse fault: it stays well below the least lead of a true one.
"""

from __future__ import annotations

import argparse
import gzip
import json
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from handsfree.events.inputs import Heard
from handsfree.session.fusion import is_short
from handsfree.session.margins import MARGINS as NOW
from handsfree.session.margins import Margins, at
from tests.bench.hearing.deciding import plan, without

FILE = Path(__file__).parents[2] / "handsfree" / "session" / "margins.yaml"
BEGINS = "short stop phrases"
"""How the evidence of this fit begins."""
OF_OTHERS = (
    BEGINS,
    "long stop phrases in quiet",
    "long stop phrases denied",
    "phrases: at closed questions",
    "short stops denied",
    "long stop phrases within talk",
    "how sure",
)
"""How that of each begins which has a command of its own."""
NOISY, NOISY_LEAD = Decimal(15), Decimal("1.5")
"""Up to so many dB over the noise so small a lead is enough: by it the stops of strangers in noise were heard."""
SPARE = Decimal("2.0")
"""So far below the least lead of a stop that was called in quiet: the tuning people are few."""
ALL_BUT = Decimal("0.05")
"""It is quiet from where all but so much of the talk in a quiet room stands above its noise."""
STEP = Decimal("0.25")
ALONE = Decimal(20)
"""The lead of what was heard alone."""
Lead = tuple[Decimal, Decimal]
"""How far above the noise (dB), and how far before all that calls no such stop (log odds)."""


def main() -> None:
    """Read what was heard, fit, print, and write when asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("heard", nargs="+", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    said: list[Lead] = []
    talk: list[Lead] = []
    people = set[str]()
    for found in lines(given.heard):
        leads = [lead for each in found["heard"] for lead in _leads(Heard.model_validate(each))]
        if found["task"] == "stop":
            people.add(found["speaker"])
            said += sorted(leads, key=lambda one: one[1])[-1:]
        elif not found["words"]:
            talk += leads
    points = fitted(said, talk)
    before, after = (sum(lead >= at(one, above) for above, lead in talk) for one in (points[:1], points))
    lost = sum(lead < at(points, above) for above, lead in said)
    told = (
        f"{BEGINS}: {len(said)} bare stops of {len(people)} of the tuning people, silence to 0 dB, {lost} lead by"
        f" less; so do all but {after} of {len(talk)} pieces of talk that were nearly heard as one"
    )
    print(f"{told} (all but {before} by {NOISY_LEAD} everywhere)\n{points}")
    if given.write:
        kept = [one for one in NOW.evidence if not one.startswith(BEGINS)]
        write(NOW.model_copy(update={"ours_short_stop": points, "evidence": (*kept, told)}))


def fitted(said: Sequence[Lead], talk: Sequence[Lead]) -> tuple[Lead, Lead]:
    """Return the margin as two points: in noise, and from where it is quiet; no more than the talk asks for."""
    heights = sorted(above for above, _ in talk)
    quiet = max(NOISY + 1, heights[int(ALL_BUT * len(heights))])
    clear = min(lead for above, lead in said if above >= quiet)
    other = max(lead for _, lead in talk)
    wanted = min(clear - SPARE, other + STEP)
    return (NOISY, NOISY_LEAD), (quiet, max(NOISY_LEAD, (wanted / STEP).to_integral_value("ROUND_FLOOR") * STEP))


def lines(files: Sequence[Path]) -> Iterator[dict[str, Any]]:
    """Yield what was heard, a call or a stretch of talk each."""
    for file in files:
        with gzip.open(file, "rt", encoding="utf-8") as lines:
            yield from map(json.loads, lines)


def _leads(heard: Heard) -> Iterator[Lead]:
    """Yield how far above the noise, and with what lead, a short stop phrase was heard."""
    ours = without(heard).alternatives
    named = [plan().catalogue.hazard_of(" ".join(one.text)) for one in ours]
    for one, name in zip(ours, named, strict=True):
        if name is not None and is_short(plan().pronunciations, one.text) and heard.above_noise_db is not None:
            others = [other.score for other, its in zip(ours, named, strict=True) if its != name]
            yield heard.above_noise_db, one.score - max(others, default=one.score - ALONE)


def evidence_of(margins: Margins) -> tuple[str, ...]:
    """Return what the margins hold of the evidence of the other fits, each with a command of its own."""
    return tuple(one for one in margins.evidence if one.startswith(OF_OTHERS))


def write(margins: Margins) -> None:
    """Write the margins as the data that the session reads."""
    written = ["# Written by `python -m models.training.judge` and the other commands of its name: do not edit."]
    for name in Margins.model_fields:
        value = getattr(margins, name)
        if isinstance(value, Decimal):
            written.append(f'{name}: "{value.normalize():f}"')
        else:
            written += [f"{name}:", *(f"  - {json.dumps(one, default=str)}" for one in value)]
    FILE.write_text("\n".join(written) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
