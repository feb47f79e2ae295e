"""Fit what long stop phrases want in quiet: `python -m models.training.judge_stops_in_quiet HEARD... [--write]`.

HEARD are files of `python -m tests.bench.hearing.visit hear --part tune --tasks long-stops` (the phrases by
voices, doubled words by people) and of `python -m tests.bench.live.false_stops --parts tune --only talk`, kept by
`--to FILE`. In noise a long phrase acts though another leads it a little (`judge_stops`). In quiet some lead by
much whenever they are called ("smell gas") and others hardly ("there's smoke"), so each is fitted by itself.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterable, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

from handsfree.events.inputs import Heard
from handsfree.session.fusion import is_short
from handsfree.session.margins import MARGINS as NOW
from handsfree.session.margins import at, in_quiet
from models.training.judge_short_stops import ALONE, STEP, Lead, lines, write
from tests.bench.hearing.deciding import plan, without

BEGINS = "long stop phrases in quiet"
"""How the evidence of this fit begins."""
FILE = Path(__file__).parents[2] / "handsfree" / "trades" / "long_stops.yaml"
BEGINNING = "# Written by `python -m models.training.judge_stops_in_quiet --write`: do not edit."
SPARE = Decimal("5.0")
"""So far below the least lead of a true one: between two voices the lead of a phrase differs by as much."""


def main() -> None:
    """Read what was heard, fit, print, and write when asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("heard", nargs="+", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    said: dict[str, list[Lead]] = defaultdict(list)
    talk: list[tuple[str, Lead]] = []
    for found in lines(given.heard):
        called = " ".join(found["words"])
        leads = _leads(found["heard"])
        if called in leads:
            said[called].append(leads[called])
        elif not called:
            talk += leads.items()
    wanted = fitted(said)
    before, after = (sum(_acts(one, *each) for each in talk) for one in ({}, wanted))
    calls = [(phrase, lead) for phrase, each in said.items() for lead in each]
    told = (
        f"{BEGINS}: {len(calls)} of {len(said)} phrases by tuning voices, and by people said twice,"
        f" {sum(not _acts(wanted, *each) for each in calls)} lead by less; {len(wanted)} phrases"
        f" want a lead; of talk of the tuning people {before} -> {after} act"
    )
    print(f"{told}\n{wanted}")
    if given.write:
        kept = [one for one in NOW.evidence if not one.startswith(BEGINS)]
        write(NOW.model_copy(update={"evidence": (*kept, told)}))
        written = [f'{phrase}: "{lead.normalize():f}"' for phrase, lead in sorted(wanted.items())]
        FILE.write_text("\n".join([BEGINNING, *written, ""]), encoding="utf-8")


def fitted(said: dict[str, list[Lead]]) -> dict[str, Decimal]:
    """Return the lead of each phrase that leaves its true ones their spare, where that is a lead at all.

    Never more than a short phrase wants.
    """
    (noisy, _), *_, (_, most) = NOW.ours_short_stop
    wanted = {
        phrase: min(most, _steps(min(lead for _, lead in leads) - SPARE))
        for phrase, leads in said.items()
        if all(above > noisy for above, _ in leads)
    }
    return {phrase: lead for phrase, lead in wanted.items() if lead >= 0}


def _steps(lead: Decimal) -> Decimal:
    return (lead / STEP).to_integral_value("ROUND_FLOOR") * STEP


def _acts(wanted: Mapping[str, Decimal], phrase: str, lead: Lead) -> bool:
    return lead[1] >= at(in_quiet(NOW, wanted.get(phrase, -NOW.ours_stop)), lead[0])


def _leads(utterances: Iterable[Any]) -> dict[str, Lead]:
    """Return of each long phrase that was heard how far above the noise, and its greatest lead."""
    found: dict[str, Lead] = {}
    for heard in map(Heard.model_validate, utterances):
        ours = without(heard).alternatives
        named = [plan().catalogue.hazard_of(" ".join(one.text)) for one in ours]
        for one, name in zip(ours, named, strict=True):
            if name is None or heard.above_noise_db is None or is_short(plan().pronunciations, one.text):
                continue
            others = [other.score for other, its in zip(ours, named, strict=True) if its != name]
            lead = heard.above_noise_db, one.score - max(others, default=one.score - ALONE)
            phrase = " ".join(one.text)
            found[phrase] = max(found.get(phrase, lead), lead, key=lambda each: each[1])
    return found


if __name__ == "__main__":
    main()
