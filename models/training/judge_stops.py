"""The margins of long stop phrases, fitted on what was heard of the tuning people and voices.

Of other talk hardly any piece may stop the work; within that, each margin is as wide as it can be, since a missed
stop is the worse fault.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path

from handsfree.events.inputs import Heard
from handsfree.session import general_judgement
from handsfree.session.fusion import SHORT_PHONES
from handsfree.session.margins import Margins
from tests.bench.hearing.deciding import plan, without

FALSE = 1 / 500
"""Of the pieces of other talk so many may stop the work by a long phrase."""
STEP = Decimal("0.25")
WIDEST, NARROWEST, LEAST_ALIKE = Decimal(3), Decimal("1.5"), Decimal(-3)
"""Judgements: the tuning people and voices, so few of them, would allow more; no cry may be lost for talk."""
Called = tuple[bool, bool, Decimal, Decimal | None]
"""Whether something was said for us, whether it was this hazard; how far behind; how close to the free text."""


def fitted(margins: Margins, files: Sequence[Path]) -> tuple[Margins, str]:
    """Return the margins with those of stops, and the evidence."""
    pieces, calls, heard = 0, 0, list[Called]()
    for file in files:
        with gzip.open(file, "rt", encoding="utf-8") as lines:
            for line in lines:
                found = json.loads(line)
                name = plan().catalogue.hazard_of(" ".join(found["words"])) if found["words"] else None
                pieces += not found["words"]
                calls += name is not None and _long(tuple(found["words"]))
                heard += [
                    one for each in found["heard"] for one in _called(Heard.model_validate(each), name, found)
                ]
    most = int(FALSE * pieces)
    wrong = sorted(behind for for_us, right, behind, _ in heard if not right and not for_us)
    ours_stop = max(NARROWEST, min(WIDEST, _below(wrong[most]) if len(wrong) > most else WIDEST))
    alike = sorted((-close for _, right, _, close in heard if not right and close is not None))
    stop_long = max(LEAST_ALIKE, -_below(alike[0]) if alike else LEAST_ALIKE)
    acting = sum(right and behind <= ours_stop for _, right, behind, _ in heard)
    more = sum(
        right and behind > ours_stop and close is not None and close >= stop_long
        for _, right, behind, close in heard
    )
    told = (
        f"long stop phrases: {acting} of {calls} by our ears, {more} more by the third opinion;"
        f" of {pieces} pieces of talk {sum(behind <= ours_stop for behind in wrong)} stop by our ears"
    )
    print(f"{told}; ours_stop {ours_stop}, stop_long {stop_long}")
    return margins.model_copy(update={"ours_stop": ours_stop, "stop_long": stop_long}), told


def _called(heard: Heard, said: str | None, found: dict[str, object]) -> Iterator[Called]:
    """Yield the nearest call of a hazard that was said, and of one that was not."""
    ours = without(heard).alternatives
    close = dict(zip((one.text for one in heard.alternatives), general_judgement.likenesses(heard), strict=False))
    seen = set[bool]()
    for one in ours:
        name = plan().catalogue.hazard_of(" ".join(one.text))
        if name is None or not _long(one.text) or (name == said) in seen:
            continue
        seen.add(name == said)
        yield bool(found["words"]), name == said, ours[0].score - one.score, close.get(one.text)


def _long(words: Sequence[str]) -> bool:
    pronunciations = plan().pronunciations
    return sum(len(next(iter(pronunciations.of(word)), word)) for word in words) >= SHORT_PHONES


def _below(value: Decimal) -> Decimal:
    return (value / STEP - Decimal("0.01")).to_integral_value(rounding="ROUND_FLOOR") * STEP
