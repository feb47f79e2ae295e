"""What changed between two versions of an author's own trade, value by value of its files."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from handsfree.documents import Path_, Place
from handsfree.procedure.trades import TradeData
from handsfree.procedure.weighing import Weight


@dataclass(frozen=True)
class TradeChange:
    """A value of one of its files that changed, came or went; `place` is None where it is gone."""

    what: str
    before: str
    after: str
    weight: Weight
    place: Place | None


def trade_changes(old: TradeData, new: TradeData) -> Iterator[TradeChange]:
    """Yield every value that changed; none where the trade ships, for then the program is what changed.

    Nothing here knows which value allows more, so each counts as looser, but for where a fact comes from.
    """
    if not (old.own and new.own):
        return
    were, are = old.folder.documents, new.folder.documents
    for file in dict.fromkeys((*were, *are)):
        was, now = (dict(_values(one[file].content)) if file in one else {} for one in (were, are))
        for path in dict.fromkeys((*was, *now)):
            if was.get(path) != now.get(path):
                place = are[file].place(path) if path in now else None
                weight: Weight = "neutral" if path[-1:] == ("source",) else "looser"
                what = f"{file} of the trade: {'.'.join(map(str, path))}"
                yield TradeChange(what, _shown(was.get(path)), _shown(now.get(path)), weight, place)


def _values(content: Any, path: Path_ = ()) -> Iterator[tuple[Path_, Any]]:
    """Yield every value that is no mapping, a list as a whole, with its path."""
    if isinstance(content, dict):
        for key, value in content.items():
            yield from _values(value, (*path, key))
    else:
        yield path, content


def _shown(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(_shown, value))
    return "" if value is None else str(value)
