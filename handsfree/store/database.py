"""A store in a database: the same statements for SQLite, which needs no server, and for PostgreSQL."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Engine,
    Table,
    case,
    delete,
    func,
    insert,
    or_,
    select,
    update,
)

from handsfree.store import copies, routes, search
from handsfree.store.kept import AlikeVisit, Concern, Examined, KeptAnswer, NotedVisit, ReadingRow, VisitRow
from handsfree.store.months import ChangedVisit, MonthlyParts, OutdatedVisit, StoreChanges
from handsfree.store.port import PAGE, KnownColumn
from handsfree.store.questioned import packed, readings_in
from handsfree.store.revisions import announced, outdate, raised
from handsfree.store.tables import (
    ALIKE,
    ANSWER,
    ASKED,
    BESIDE,
    CLAIM,
    CONCERN,
    EMPTY,
    KNOWN,
    OUTDATED,
    ROUTE,
    SHAPE,
    STATE,
    VIEW,
    VISIT,
    storable,
    text,
)  # fmt: skip
from handsfree.store.wanted import ListWanted

NOT_LOOKED_AT, CANNOT_BE_READ = 1, 95
"""How dangerous a visit is taken to be that was not examined yet, and one that cannot be."""

MOST_WAITING = 1000
_V = VISIT.c
WAITS = case(
    (_V.signed.in_(("accepted", "to be redone", "not accepted")), 2), (_V.signed == "returned", 1), else_=0
)
"""Where a visit stands in the inbox: waiting for a verdict, for the technician's answer, or for nothing."""

_STAYS = ("identity", "anchor", "appliance", "serial", "day")
"""What is still told of a visit that changed, while what was unresolved of it stands."""

AT_ONCE = 500
"""Keys in one statement: engines limit how many values one may have."""


class DatabaseStore:
    """The tables behind an engine, as the people of some offices see them; of all where `offices` is None."""

    def __init__(self, engine: Engine, parts: MonthlyParts, offices: Collection[str] | None = None) -> None:
        self._engine, self._parts = engine, parts
        self.offices = None if offices is None else frozenset(offices)

    def within(self, offices: Collection[str] | None) -> DatabaseStore:
        """Return this store as the people of some offices see it; blinkers are only ever drawn closer."""
        if offices is None or self.offices is None:
            return DatabaseStore(self._engine, self._parts, self.offices if offices is None else offices)
        return DatabaseStore(self._engine, self._parts, self.offices & frozenset(offices))

    def close(self) -> None:
        """Let go of connections."""
        self._engine.dispose()

    def _seen(self) -> tuple[ColumnElement[bool], ...]:
        """Return the condition that every statement which tells of visits has."""
        return () if self.offices is None else (_V.office.in_(sorted(self.offices)),)

    # Taking in

    def lights(self) -> dict[str, str]:
        """Return for each visit's key what was noted of its folder."""
        with self._engine.begin() as base:
            return dict(base.execute(select(_V.key, _V.light).where(*self._seen())).all())

    def note(self, found: Sequence[NotedVisit]) -> None:
        """Note visits that are new or have changed; what was unresolved of them stands until they are examined."""
        unchecked = {**EMPTY, "seal": "unchecked", "danger": NOT_LOOKED_AT}
        for batch in _batches(found):
            keys = [each.key for each in batch]
            with self._engine.begin() as base:
                concerned = select(VISIT).where(_V.key.in_(keys), _V.key.in_(select(CONCERN.c.key)))
                former = {
                    row.key: {name: getattr(row, name) for name in _STAYS} for row in base.execute(concerned)
                }
                _forget(base, keys, but=(CONCERN,))
                rows = [_noted({**unchecked, **former.get(each.key, {}), **each.facts}, each) for each in batch]
                base.execute(insert(VISIT), rows)
                routes.know(base, [VisitRow(**row) for row in rows])

    def forget(self, keys: Collection[str]) -> None:
        """Forget visits that are gone."""
        for batch in _batches(sorted(keys)):
            with self._engine.begin() as base:
                _forget(base, batch)

    def erase(self, keys: Collection[str]) -> bool:
        """Forget visits with all that was worked out from them, and write anew what held it.

        The store gets another mark, by which every desk takes its files for questions to be of another store.
        """
        self.forget(keys)
        with self._engine.begin() as base:
            base.execute(delete(ANSWER))
            names = select(_V.technician)
            base.execute(delete(KNOWN).where(KNOWN.c.name == "technician", KNOWN.c.value.not_in(names)))
            base.execute(update(STATE).values(mark=secrets.token_hex(8)))
        self._parts.throw_away()
        return written_anew(self._engine)

    def unchecked(self, most: int = 20) -> list[VisitRow]:
        """Return visits that were never examined in their present state, newest first."""
        with self._engine.begin() as base:
            wanted = select(VISIT).where(_V.seal == "unchecked", *self._seen())
            return _visits(base.execute(wanted.order_by(_V.day.desc(), _V.key).limit(most)))

    def examined(self) -> list[VisitRow]:
        """Return the visits that were examined and could be read, newest first."""
        read = _V.seal.not_in(("unchecked", "unreadable", "broken"))
        with self._engine.begin() as base:
            wanted = select(VISIT).where(read, *self._seen())
            return _visits(base.execute(wanted.order_by(_V.day.desc(), _V.opened_at.desc(), _V.key)))

    def concerning(self, least: int) -> list[VisitRow]:
        """Return the visits, whatever their state, of which something of at least a weight is unresolved."""
        grave = select(CONCERN.c.key).where(CONCERN.c.weight >= least)
        with self._engine.begin() as base:
            wanted = select(VISIT).where(_V.key.in_(grave), *self._seen())
            return _visits(base.execute(wanted.order_by(_V.day.desc(), _V.opened_at.desc(), _V.key)))

    def news_after(self, last: int, most: int) -> list[VisitRow]:
        """Return visits that were examined or signed after a piece of news, at most so many, in that order."""
        with self._engine.begin() as base:
            wanted = select(VISIT).where(_V.news > last, *self._seen()).order_by(_V.news)
            return _visits(base.execute(wanted.limit(most)))

    def keep(self, key: str, examined: Examined) -> None:
        """Take in what an examination found; of a visit that is not noted (any more) nothing is kept."""
        unreadable = examined.facts.get("seal") == "unreadable"
        facts = {
            "danger": CANNOT_BE_READ if unreadable else 0,
            **examined.facts,
            "checked_at": datetime.now(UTC).isoformat(timespec="seconds"),
            "shapes": len(examined.rows.get(SHAPE.name, ())),
        }
        with self._engine.begin() as base:
            revision = raised(base)
            outdate(base, [key], revision)
            given = {
                **storable(facts),
                "revision": revision,
                "news": announced(base),
                "route": routes.keep(base, examined),
            }
            base.execute(update(VISIT).where(_V.key == key).values(given))
            base.execute(update(VISIT).where(_V.key == key).values(waits=WAITS))
            noted = _visits(base.execute(select(VISIT).where(_V.key == key)))
            if not noted:
                return
            routes.know(base, noted)
            asked = {"key": key, "body": packed(noted[0], examined.rows)}
            for name, table in BESIDE.items():
                if unreadable and table is CONCERN:
                    continue  # nothing was learned that could stand in their place
                base.execute(delete(table).where(table.c.key == key))
                if rows := examined.rows.get(name):
                    names = table.c.keys()
                    kept = [{each: row[each] for each in names if each in row} for row in rows]
                    base.execute(insert(table), [storable({**row, "key": key}) for row in kept])
            base.execute(insert(ASKED), [asked])
            if examined.view:
                base.execute(insert(VIEW), [{"key": key, "body": examined.view}])
                copies.compare(base, key)

    def signed(self, key: str, verdict: str, light: str, stamp: str) -> None:
        """Note that a visit was signed, and the state of its folder with what was signed in it."""
        with self._engine.begin() as base:
            noted = {"signed": verdict, "light": light, "stamp": stamp, "news": announced(base)}
            base.execute(update(VISIT).where(_V.key == key, *self._seen()).values(noted))
            base.execute(update(VISIT).where(_V.key == key).values(waits=WAITS))

    def claim(self, key: str, who: str, now: str, until: str) -> None:
        """Note that a supervisor looks at a visit, until a time (UTC); claims that are over are forgotten."""
        mine = (CLAIM.c.key == key) & (CLAIM.c.who == text(who))
        with self._engine.begin() as base:
            base.execute(select(STATE.c.revision).with_for_update())  # two windows of one person take turns
            base.execute(delete(CLAIM).where(or_(CLAIM.c.until <= now, mine)))
            base.execute(insert(CLAIM), [{"key": key, "who": text(who), "until": until}])

    def disclaim(self, key: str) -> None:
        """Forget who looks at a visit: it was signed."""
        with self._engine.begin() as base:
            base.execute(delete(CLAIM).where(CLAIM.c.key == key))

    # Telling

    def claims(self, keys: Sequence[str], now: str) -> dict[str, tuple[str, ...]]:
        """Return for each visit the names of those who look at it now."""
        asked = select(CLAIM.c.key, CLAIM.c.who).join(VISIT, _V.key == CLAIM.c.key)
        found: dict[str, tuple[str, ...]] = dict.fromkeys(keys, ())
        with self._engine.begin() as base:
            for batch in _batches(keys):
                wanted = asked.where(CLAIM.c.key.in_(batch), CLAIM.c.until > now, *self._seen())
                for key, who in base.execute(wanted.order_by(CLAIM.c.who)):
                    found[key] = (*found[key], who)
        return found

    def rows_of(self, sql: str) -> tuple[tuple[str, ...], list[tuple[Any, ...]]]:
        """Return the columns and rows of a question in DuckDB's SQL, asked of the tables in `questioned.py`."""
        self._parts.follow(self)
        return self._parts.rows_of(sql)

    def state(self) -> tuple[str, int]:
        """Return the store's own mark, which no other has, and its revision: the same while answers are."""
        with self._engine.begin() as base:
            mark, revision = base.execute(select(STATE.c.mark, STATE.c.revision)).one()
            return mark, revision

    def news(self) -> tuple[str, int]:
        """Return the store's own mark, and the number of its last piece of news."""
        with self._engine.begin() as base:
            mark, news = base.execute(select(STATE.c.mark, STATE.c.news)).one()
            return mark, news

    def changes(self, after: int, most: int) -> StoreChanges:
        """Return what changed for questions after a revision, of at most so many visits."""
        with self._engine.begin() as base:
            until = base.scalar(select(STATE.c.revision)) or 0
            changed = select(_V.key, _V.revision, _V.day, ASKED.c.body).join(ASKED, ASKED.c.key == _V.key)
            wanted = changed.where(_V.revision > after, _V.revision <= until).order_by(_V.revision).limit(most)
            visits = [ChangedVisit(*row) for row in base.execute(wanted)]
            if len(visits) == most:
                until = visits[-1].revision
            gone = select(OUTDATED.c.key, OUTDATED.c.revision, OUTDATED.c.day)
            since = gone.where(OUTDATED.c.since > after, OUTDATED.c.since <= until)
            return StoreChanges(until, visits, [OutdatedVisit(*row) for row in base.execute(since)])

    def answer(self, question: str) -> KeptAnswer | None:
        """Return an answer that was kept under a name of all that was asked."""
        with self._engine.begin() as base:
            kept = select(ANSWER.c.revision, ANSWER.c.made_at, ANSWER.c.body).where(ANSWER.c.question == question)
            row = base.execute(kept).one_or_none()
            return None if row is None else KeptAnswer(*row)

    def keep_answer(self, question: str, answer: KeptAnswer) -> None:
        """Keep an answer, in the place of a former one."""
        with self._engine.begin() as base:
            base.execute(select(STATE.c.revision).with_for_update())  # two that keep one at once take turns
            base.execute(delete(ANSWER).where(ANSWER.c.question == question))
            base.execute(insert(ANSWER), [{"question": question, **vars(answer)}])

    def one(self, key: str) -> VisitRow | None:
        """Return the facts of a visit."""
        with self._engine.begin() as base:
            found = _visits(base.execute(select(VISIT).where(_V.key == text(key), *self._seen())))
            return found[0] if found else None

    def view(self, key: str) -> bytes | None:
        """Return what was kept to be shown of a visit; None when nothing was."""
        with self._engine.begin() as base:
            kept = select(VIEW.c.body).join(VISIT, _V.key == VIEW.c.key).where(_V.key == key, *self._seen())
            body: bytes | None = base.scalar(kept)
            return body

    def concerns(self, keys: Sequence[str]) -> dict[str, tuple[Concern, ...]]:
        """Return what is unresolved of each visit by itself, in its order."""
        columns = (CONCERN.c[name] for name in ("key", "kind", "says", "weight", "about", "seq"))
        asked = select(*columns).join(VISIT, _V.key == CONCERN.c.key)
        found: dict[str, list[Concern]] = {key: [] for key in keys}
        with self._engine.begin() as base:
            wanted = asked.where(CONCERN.c.key.in_(keys), *self._seen()).order_by(CONCERN.c.place)
            for key, *rest in base.execute(wanted):
                found[key].append(Concern(*rest))
        return {key: tuple(kept) for key, kept in found.items()}

    def alike(self, keys: Sequence[str], most: int = 5) -> dict[str, tuple[AlikeVisit, ...]]:
        """Return for each visit the others whose readings are the same but for a few, most alike first."""
        other = VISIT.alias("other")
        asked = select(ALIKE.c.key, other.c.job, other.c.day, ALIKE.c.shared, other.c.office).select_from(ALIKE)
        joined = asked.join(other, other.c.key == ALIKE.c.other).join(VISIT, _V.key == ALIKE.c.key)
        found: dict[str, list[AlikeVisit]] = {key: [] for key in keys}
        with self._engine.begin() as base:
            wanted = joined.where(ALIKE.c.key.in_(keys), *self._seen())
            for key, job, day, shared, office in base.execute(
                wanted.order_by(ALIKE.c.shared.desc(), other.c.day, other.c.key)
            ):
                if len(found[key]) < most:
                    hidden = self.offices is not None and office not in self.offices
                    told = ("a visit of another office", "", shared) if hidden else (job, day, shared)
                    found[key].append(AlikeVisit(*told))
        return {key: tuple(others) for key, others in found.items()}

    def find(self, wanted: ListWanted) -> tuple[list[VisitRow], int]:
        """Return one page of the visits wanted, and how many there are in all."""
        holds = (*search.conditions(storable(vars(wanted))), *self._seen())
        with self._engine.begin() as base:
            total = base.scalar(select(func.count()).select_from(VISIT).where(*holds)) or 0
            page = select(VISIT).where(*holds).order_by(*search.order(wanted)).limit(PAGE)
            return _visits(base.execute(page.offset(PAGE * (max(wanted.page, 1) - 1)))), total

    def waiting(self, beside: str = "") -> list[str]:
        """Return the keys of visits that wait for a verdict, and of one beside them, gravest first."""
        inbox = (_V.danger.desc(), _V.day.desc(), _V.opened_at.desc(), _V.key)
        with self._engine.begin() as base:
            wanted = select(_V.key).where(or_(_V.waits == 0, _V.key == text(beside)), *self._seen())
            return list(base.scalars(wanted.order_by(*inbox).limit(MOST_WAITING)))

    def count_waiting(self) -> int:
        """Return how many visits wait for a verdict."""
        return self._count(_V.waits == 0)

    def tally(self) -> dict[str, int]:
        """Return how many visits there are by seal state."""
        with self._engine.begin() as base:
            wanted = select(_V.seal, func.count()).where(*self._seen()).group_by(_V.seal).order_by(_V.seal)
            return dict(base.execute(wanted).all())

    def count_broken(self, serial: str = "") -> int:
        """Return how many records are broken, of one appliance where it is named."""
        return self._count(_V.seal == "broken", *((_V.serial == text(serial),) if serial else ()))

    def _count(self, *holds: ColumnElement[bool]) -> int:
        with self._engine.begin() as base:
            return base.scalar(select(func.count()).select_from(VISIT).where(*holds, *self._seen())) or 0

    def known(self, column: KnownColumn) -> list[str]:
        """Return all that visits have in a column, in order."""
        holds = [KNOWN.c.name == column]
        if self.offices is not None:
            holds.append(KNOWN.c.office.in_(sorted(self.offices)))
        with self._engine.begin() as base:
            return list(base.scalars(select(KNOWN.c.value).where(*holds).distinct().order_by(KNOWN.c.value)))

    def of_appliance(self, serial: str) -> tuple[list[VisitRow], list[ReadingRow]]:
        """Return the visits to an appliance in order without broken ones and copies, and their readings."""
        holds = (
            _V.serial == text(serial),
            _V.identity != "",
            _V.seal.not_in(("broken", "unchecked", "unreadable")),
            *self._seen(),
        )
        first = select(func.min(_V.key)).where(*holds).group_by(_V.identity)
        with self._engine.begin() as base:
            once = select(VISIT).where(_V.key.in_(first)).order_by(_V.day, _V.opened_at, _V.key)
            visits = _visits(base.execute(once))
            kept = base.execute(
                select(ASKED.c.key, ASKED.c.body).where(ASKED.c.key.in_(first)).order_by(ASKED.c.key)
            )
            return visits, [reading for key, body in kept for reading in readings_in(key, body)]

    def gate_title(self, gate: str) -> str:
        """Return a title under which a gate was passed; its name where no visit has passed it."""
        with self._engine.begin() as base:
            passed = select(ROUTE.c.title).join(VISIT, _V.route == ROUTE.c.route).where(ROUTE.c.gate == text(gate))
            found: str | None = base.scalar(passed.where(*self._seen()).order_by(_V.day.desc()).limit(1))
            return found or gate


def _noted(facts: dict[str, Any], found: NotedVisit) -> dict[str, Any]:
    named = {"key": found.key, "light": found.light}
    return storable({**facts, **named}) | {"folder": found.folder.encode("utf-8", "surrogateescape")}


def _forget(base: Connection, keys: Sequence[str], but: Sequence[Table] = ()) -> None:
    """Remove what all tables hold of visits, but for some tables."""
    outdate(base, keys, raised(base))
    for key in keys:
        copies.part(base, key)
    for table in (each for each in (*BESIDE.values(), VISIT) if each not in but):
        base.execute(delete(table).where(table.c.key.in_(keys)))


def written_anew(engine: Engine) -> bool:
    """Let the engine write its files without what was deleted; False when a reader keeps old pages alive."""
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as base:
        if engine.dialect.name != "sqlite":
            base.exec_driver_sql("VACUUM FULL")
            return True
        base.exec_driver_sql("VACUUM")
        busy = base.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").scalar()
        return not busy


def _visits(found: Any) -> list[VisitRow]:
    return [VisitRow(**row) for row in found.mappings()]


def _batches(items: Sequence[Any]) -> Iterable[Sequence[Any]]:
    return (items[start : start + AT_ONCE] for start in range(0, len(items), AT_ONCE))
