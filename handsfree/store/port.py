"""The port: all that the desk, the commands, the fleet and the programming interface ask of a store.

A store keeps what examinations found, so that thousands of visits are listed and searched without opening them. It
can be thrown away: the folders (or objects) of the visits stay the truth, and examining them again fills it.

`within` gives the same store with blinkers: whoever gets that one cannot see, count, open or export a visit of
another office, whichever page or address they use.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, Literal, Protocol

from handsfree.store.kept import AlikeVisit, Concern, Examined, KeptAnswer, NotedVisit, ReadingRow, VisitRow
from handsfree.store.wanted import ListWanted

PAGE = 50
"""Visits on one page of the list."""

KnownColumn = Literal["technician", "office", "procedure", "version"]


class VisitStore(Protocol):
    """What is kept of visits. Every method is one transaction: it is done as a whole or not at all."""

    @property
    def offices(self) -> frozenset[str] | None:
        """The offices whose visits are seen; all where None."""

    def within(self, offices: Collection[str] | None) -> VisitStore:
        """Return this store as the people of some offices see it; of all where None."""

    def close(self) -> None:
        """Let go of connections."""

    # Taking in

    def lights(self) -> dict[str, str]:
        """Return for each visit's key what was noted of its folder, to see which ones changed."""

    def note(self, found: Sequence[NotedVisit]) -> None:
        """Note new or changed visits: they wait to be examined, and what was kept of them is forgotten.

        What was unresolved of them stands until `keep` puts something readable in its place.
        """

    def forget(self, keys: Collection[str]) -> None:
        """Forget visits that are gone."""

    def erase(self, keys: Collection[str]) -> bool:
        """Forget visits with all that was worked out from them, and write anew what held it.

        False when somebody reads just now, so that pages with what was erased may still lie there.
        """

    def unchecked(self, most: int = 20) -> list[VisitRow]:
        """Return visits that were never examined in their present state, newest first."""

    def examined(self) -> list[VisitRow]:
        """Return the visits that were examined and could be read, newest first."""

    def concerning(self, least: int) -> list[VisitRow]:
        """Return the visits, whatever their state, of which something of at least a weight is unresolved."""

    def news_after(self, last: int, most: int) -> list[VisitRow]:
        """Return visits that were examined or signed after a piece of news, at most so many, in that order."""

    def keep(self, key: str, examined: Examined) -> None:
        """Take in what an examination found; of a visit that is not noted (any more) nothing is kept."""

    def signed(self, key: str, verdict: str, light: str, stamp: str) -> None:
        """Note that a visit was signed, and the state of its folder with what was signed in it."""

    def claim(self, key: str, who: str, now: str, until: str) -> None:
        """Note that a supervisor looks at a visit, until a time (UTC); claims that are over are forgotten."""

    def disclaim(self, key: str) -> None:
        """Forget who looks at a visit: it was signed."""

    # Telling

    def claims(self, keys: Sequence[str], now: str) -> dict[str, tuple[str, ...]]:
        """Return for each visit the names of those who look at it now."""

    def rows_of(self, sql: str) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
        """Return the columns and rows of a question in DuckDB's SQL, asked of the tables in `questioned.py`.

        It is asked of all offices: the question itself must ask within `offices`.
        """

    def state(self) -> tuple[str, int]:
        """Return the store's own mark, which no other has, and its revision: the same while answers are."""

    def news(self) -> tuple[str, int]:
        """Return the store's own mark, and the number of its last examination or signature."""

    def answer(self, question: str) -> KeptAnswer | None:
        """Return an answer that was kept under a name of all that was asked."""

    def keep_answer(self, question: str, answer: KeptAnswer) -> None:
        """Keep an answer, in the place of a former one."""

    def one(self, key: str) -> VisitRow | None:
        """Return the facts of a visit."""

    def view(self, key: str) -> bytes | None:
        """Return what was kept to be shown of a visit; None when nothing was."""

    def concerns(self, keys: Sequence[str]) -> dict[str, tuple[Concern, ...]]:
        """Return what is unresolved of each visit by itself, in its order."""

    def alike(self, keys: Sequence[str], most: int = 5) -> dict[str, tuple[AlikeVisit, ...]]:
        """Return for each visit the others whose readings are the same but for a few, most alike first."""

    def find(self, wanted: ListWanted) -> tuple[list[VisitRow], int]:
        """Return one page of the visits wanted, and how many there are in all."""

    def waiting(self, beside: str = "") -> list[str]:
        """Return the keys of at most 1000 visits that wait for a verdict and of one beside them, gravest first."""

    def count_waiting(self) -> int:
        """Return how many visits wait for a verdict."""

    def tally(self) -> dict[str, int]:
        """Return how many visits there are by seal state."""

    def count_broken(self, serial: str = "") -> int:
        """Return how many records are broken, of one appliance where it is named."""

    def known(self, column: KnownColumn) -> list[str]:
        """Return all that visits have in a column, in order."""

    def of_appliance(self, serial: str) -> tuple[list[VisitRow], list[ReadingRow]]:
        """Return the visits to an appliance in order without broken ones and copies, and their readings."""

    def gate_title(self, gate: str) -> str:
        """Return a title under which a gate was passed; its name where no visit has passed it."""
