"""Fit the lead of a long stop phrase within talk: `python -m models.training.judge_stops_in_talk FOUND [--write]`.

FOUND is a file of `python -m tests.bench.live.stop_in_talk --part tune --to FILE`: calls within talk that does not
pause, and such talk alone. The talk is hours of a radio, the calls are rare, so hardly any of it may act: the lead
lies above all that the talk led by, and by `SPARE` more. Prints what other leads would give.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from handsfree.session.margins import MARGINS as NOW
from models.training.judge_short_stops import STEP, write

BEGINS = "long stop phrases within talk"
"""How the evidence of this fit begins."""
SPARE = Decimal("0.25")
LEAST = Decimal(4)
"""One more than over the tool's own voice, where it is known what else sounds. A judgement, until two hours of
talk led to the same."""


def main() -> None:
    """Read what was found, fit, print, and write when asked to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("found", nargs="+", type=Path)
    parser.add_argument("--write", action="store_true")
    given = parser.parse_args()
    lines = [json.loads(line) for file in given.found for line in file.read_text("utf-8").splitlines()]
    calls = [one for one in lines if "called" in one and one["called"] != "stop"]
    talk = [one for one in lines if "talk" in one and one["said"] is None]
    hours = sum(one["seconds"] for one in talk) / 3600
    leads = sorted(Decimal(how) for one in talk for _, how in one["found"])
    for half in range(4, 17):
        lead = Decimal(half) / 2
        print(
            f"lead {lead}: {_acting(calls, lead)} of {len(calls)} calls, {sum(lead <= one for one in leads)} false"
        )
    wanted = fitted(leads)
    told = (
        f"{BEGINS}: of {hours:.2f} h of talk of the tuning people alone {sum(wanted <= one for one in leads)} act"
    )
    if calls:
        told += (
            f"; of {len(calls)} calls in place of the talk and 0 to 15 dB over it, by tuning voices and"
            f" people's stop thrice, {_acting(calls, wanted)}"
        )
    print(f"in_talk {wanted}; {told}")
    if given.write:
        kept = [one for one in NOW.evidence if not one.startswith(BEGINS)]
        write(NOW.model_copy(update={"in_talk": wanted, "evidence": (*kept, told)}))


def fitted(leads: Sequence[Decimal]) -> Decimal:
    """Return the least lead, in steps, that is `SPARE` above all that talk alone led by."""
    beyond = max(leads, default=Decimal(0)) + SPARE
    return max(LEAST, (beyond / STEP).to_integral_value("ROUND_CEILING") * STEP)


def _acting(calls: Sequence[dict[str, Any]], lead: Decimal) -> int:
    return sum(one["lead"] is not None and Decimal(one["lead"]) >= lead for one in calls)


if __name__ == "__main__":
    main()
