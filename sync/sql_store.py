"""Entries in an SQL database, through SQLAlchemy Core: SQLite in one file, or PostgreSQL for several processes.

The exact canonical bytes stand beside the columns; the columns are there to find them by. Feed position and chain are
allocated under one lock that is held to the commit, so that the order of positions is the order of commits and a reader
never misses one. In the same transaction a visit is marked as one whose summary has fallen behind (`dirty`).
"""

import json
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Dialect, Select, bindparam, delete, func, insert, select, text, update

from sync import erased, migrations, seal
from sync import sql_tables as tables
from sync.attached import ATTACHMENT, ERASURE, attachment_row
from sync.clock import wall_ms
from sync.drawer import key_of
from sync.entry import Entry, Refusal, in_order, read
from sync.erased import Erasing, Erasure
from sync.errors import StoreNewer, StoreNotEmpty
from sync.journal import Damage
from sync.sql_engine import Database
from sync.store import (
    BATCH,
    Added,
    Filed,
    Head,
    Link,
    Listeners,
    Page,
    Record,
    Touched,
    TouchedPage,
    cursor_at,
    position_of,
    runs,
    sort_batch,
)

__all__ = ["SqlStore"]

FORMAT = 1


class SqlStore:
    """A `Store` in a database: `sqlite:///FILE` or `postgresql+psycopg://...`.

    With `write=False` it makes no database and changes none. Raises StoreNewer, StoreAway; StoreMissing when there is
    nothing to read.
    """

    def __init__(self, url: str, *, write: bool = True, now: Callable[[], int] = wall_ms) -> None:
        self.database = Database(url, write)
        self.engine = self.database.engine
        self._now = now
        self._listeners = Listeners()
        self.damaged: Sequence[Damage] = ()
        with self.database.writing() if write else self.database.reading() as connection:
            if write:
                migrations.bring_up_to_date(connection, self.database.copy_beside)
            else:
                migrations.check_readable(connection)
            self.epoch = _begin(connection)
            if write:
                _make_sure(connection)

    def add(self, entries: Sequence[Entry], *, source: str = "") -> Added:
        if not entries:
            return Added()
        with self.database.writing() as connection:
            known = _known(connection, [entry["id"] for entry in entries])
            added, fresh = sort_batch(entries, known.get)
            erasing = _erasing(connection, added.new, fresh)
            if fresh:
                _append(connection, erasing, _first_of_each(entries, added.new), self._now(), source)
        if erasing.wiped:
            self.database.forget()
        if fresh:
            self._listeners.tell(erased.may_erase(fresh))
        return added

    def get(self, entry_id: str) -> Entry | None:
        with self.database.reading() as connection:
            data = connection.scalar(select(tables.entry.c.data).where(tables.entry.c.id == entry_id))
        return read(data) if data else None

    def visit(self, visit: str) -> list[Entry]:
        with self.database.reading() as connection:
            found = connection.scalars(select(tables.entry.c.data).where(tables.entry.c.visit == visit))
            return in_order(read(data) for data in found)

    def since(
        self, cursor: str | None = None, limit: int = BATCH, *, visit: str = "", not_from: str = "", only_from: str = ""
    ) -> Page:
        with self.database.reading() as connection:
            head = _read_head(connection)
            query = select(tables.entry.c.position, tables.entry.c.data).where(
                tables.entry.c.position > position_of(cursor, head)
            )
            if visit:
                query = query.where(tables.entry.c.visit == visit)
            if not_from:
                query = query.where(tables.entry.c.source != not_from)
            if only_from:
                query = query.where(tables.entry.c.source == only_from)
            rows = connection.execute(query.order_by(tables.entry.c.position).limit(limit + 1)).all()
        more = len(rows) > limit
        position = rows[limit - 1].position if more else _last(rows, head.position)
        return Page([read(row.data) for row in rows[:limit]], cursor_at(head.epoch, position), more)

    def visits(self, cursor: str | None = None, limit: int = BATCH) -> TouchedPage:
        with self.database.reading() as connection:
            head = _read_head(connection)
            query = _touched().where(tables.visit.c.position > position_of(cursor, head))
            rows = connection.execute(query.order_by(tables.visit.c.position).limit(limit + 1)).all()
        more = len(rows) > limit
        position = rows[limit - 1].position if more else _last(rows, head.position)
        return TouchedPage([_as_touched(row) for row in rows[:limit]], cursor_at(head.epoch, position), more)

    def touched(self, visit: str) -> Touched | None:
        with self.database.reading() as connection:
            row = connection.execute(_touched().where(tables.visit.c.visit == visit)).first()
        return _as_touched(row) if row else None

    def head(self) -> Head:
        with self.database.reading() as connection:
            return _read_head(connection)

    def hash_at(self, position: int) -> str:
        if position == 0:
            return seal.first(self.epoch)
        with self.database.reading() as connection:
            query = select(tables.entry.c.hash).where(tables.entry.c.position == position)
            found = connection.scalar(query)
        return found.hex() if found else ""

    def links(self, visit: str = "") -> Iterator[Link]:
        asked = _links().where(tables.entry.c.visit == visit) if visit else _links()
        with self.database.reading() as connection:
            position = 0
            while rows := connection.execute(asked.where(tables.entry.c.position > position).limit(BATCH)).all():
                for row in rows:
                    # An entry is found by its columns: where they say something else than its bytes, it was changed.
                    data = row.data if _says_what_it_holds(row) else b""
                    yield Link(row.position, data, row.hash.hex(), row.received, row.source, row.bare)
                    position = row.position

    def cut(self) -> Head:
        return Head(self.epoch, 0, seal.first(self.epoch))

    def erasures(self) -> dict[str, Erasure]:
        with self.database.reading() as connection:
            return {row.of: _as_erasure(row) for row in connection.execute(_erasures())}

    def fill(self, links: Iterable[Link], drawer: Iterable[Record] = (), kept: Mapping[str, Any] | None = None) -> None:
        with self.database.writing() as connection:
            if _read_head(connection).position:
                raise StoreNotEmpty("There are entries in this database.")
            for run in runs(links):
                fresh = [link.data for link in run]
                bare = {offset for offset, link in enumerate(run) if link.bare}
                erasures = list(filter(None, map(erased.erasure_in, fresh)))
                erasing = Erasing(fresh, bare, {}, erasures)
                _append(connection, erasing, map(read, fresh), run[0].received, run[0].source)
            for record in drawer:
                _refuse(connection, record)
            for name, value in (kept or {}).items():
                _keep(connection, name, value)

    def received(self, visit: str) -> dict[str, int]:
        with self.database.reading() as connection:
            rows = connection.execute(
                select(tables.entry.c.id, tables.entry.c.received).where(tables.entry.c.visit == visit)
            )
            return {row.id: row.received for row in rows}

    def latest(self, device: str) -> Entry | None:
        query = (
            select(tables.entry.c.data)
            .where(tables.entry.c.device == device)
            .order_by(tables.entry.c.id.desc())
            .limit(1)
        )
        with self.database.reading() as connection:
            data = connection.scalar(query)
        return read(data) if data else None

    def refuse(self, entry: Any, refusal: Refusal, device: str = "") -> Filed:
        return self.refuse_all([(entry, refusal)], device)[0]

    def refuse_all(self, refused: Sequence[tuple[Any, Refusal]], device: str = "") -> list[Filed]:
        if not refused:
            return []
        with self.database.writing() as connection:
            return [_file(connection, entry, refusal, device, self._now()) for entry, refusal in refused]

    def refused(self) -> list[Record]:
        with self.database.reading() as connection:
            rows = connection.execute(select(tables.refused).order_by(tables.refused.c.number)).all()
        return [
            Record(row.key, json.loads(row.entry), Refusal(row.field, row.why, row.do), row.device, row.at, row.settled)
            for row in rows
        ]

    def refused_count(self) -> int:
        with self.database.reading() as connection:
            count = select(func.count()).select_from(tables.refused).where(tables.refused.c.settled.is_(False))
            return connection.scalar(count) or 0

    def settle(self, key: str) -> bool:
        with self.database.writing() as connection:
            done = connection.execute(update(tables.refused).where(tables.refused.c.key == key).values(settled=True))
            return done.rowcount > 0

    def keep(self, name: str, value: Any) -> None:
        self.keep_all({name: value})

    def keep_all(self, values: Mapping[str, Any]) -> None:
        changed = {name: value for name, value in values.items() if self.kept(name) != value}
        if changed:
            with self.database.writing() as connection:
                for name, value in changed.items():
                    _keep(connection, name, value)

    def kept(self, name: str) -> Any:
        with self.database.reading() as connection:
            value = connection.scalar(select(tables.kept.c.value).where(tables.kept.c.name == name))
        return None if value is None else json.loads(value)

    def all_kept(self) -> dict[str, Any]:
        with self.database.reading() as connection:
            return {row.name: json.loads(row.value) for row in connection.execute(select(tables.kept))}

    def named(self, names: Iterable[str]) -> set[str]:
        asked, found = list(names), set[str]()
        with self.database.reading() as connection:
            for start in range(0, len(asked), BATCH):
                query = _names(erased=False).where(tables.attachment.c.name.in_(asked[start : start + BATCH]))
                found.update(connection.scalars(query))
        return found

    def erased_attachments(self) -> set[str]:
        with self.database.reading() as connection:
            return set(connection.scalars(_names(erased=True).except_(_names(erased=False))))

    def listen(self, heard: Callable[[], None], *, erasures: bool = False) -> Callable[[], None]:
        return self._listeners.listen(heard, erasures)

    def close(self) -> None:
        self.database.close()

    def dirty(self, limit: int = BATCH) -> list[Touched]:
        """Visits with entries that no summary has taken in, the ones longest so first; `entries` counts them all."""
        marks = select(tables.dirty.c.visit, tables.visit.c.entries, tables.dirty.c.position)
        marks = marks.join(tables.visit, tables.visit.c.visit == tables.dirty.c.visit)
        with self.database.reading() as connection:
            rows = connection.execute(marks.order_by(tables.dirty.c.position).limit(limit)).all()
        return [_as_touched(row) for row in rows]

    def clean(self, summed: Iterable[Touched]) -> None:
        """Take back the marks of visits that were summed up as `dirty` gave them; one touched since keeps its mark."""
        with self.database.writing() as connection:
            for mark in summed:
                same = (tables.dirty.c.visit == mark.visit) & (tables.dirty.c.position == mark.position)
                connection.execute(delete(tables.dirty).where(same))

    def soil(self) -> None:
        """Mark every visit, as when summaries are to be made in another way."""
        with self.database.writing() as connection:
            connection.execute(delete(tables.dirty))
            every = select(tables.visit.c.visit, tables.visit.c.position)
            connection.execute(insert(tables.dirty).from_select(["visit", "position"], every))


def _begin(connection: Connection) -> str:
    """The epoch of the store, which is drawn when it is made."""
    row = connection.execute(select(tables.head.c.format, tables.head.c.epoch)).first()
    if row is None:
        epoch = uuid.uuid4().hex
        first = {"one": 1, "format": FORMAT, "epoch": epoch, "position": 0, "hash": seal.first(epoch)}
        connection.execute(insert(tables.head), first)
        return epoch
    if row.format > FORMAT:
        raise StoreNewer(f"The database has format {row.format}, newer than {FORMAT}.")
    return str(row.epoch)


def _make_sure(connection: Connection) -> None:
    """Write something, and take it away again, so that the commit waits for the disk.

    A writer killed between a write and its fsync leaves entries in SQLite's log that are read like any others; they
    would be acknowledged when they are offered again. (A value set to what it is would write nothing in SQLite.)
    """
    _keep(connection, "opened", True)
    connection.execute(delete(tables.kept).where(tables.kept.c.name == "opened"))


def _read_head(connection: Connection) -> Head:
    row = connection.execute(_HEAD).one()
    return Head(row.epoch, row.position, row.hash)


def _known(connection: Connection, ids: Sequence[str]) -> dict[str, bytes]:
    # In parts: a database takes only so many values in one question.
    known: dict[str, bytes] = {}
    for start in range(0, len(ids), BATCH):
        found = connection.execute(_KNOWN, {"ids": ids[start : start + BATCH]})
        known |= {row.id: row.data for row in found}
    return known


def _erasing(connection: Connection, ids: Sequence[str], fresh: Sequence[bytes]) -> Erasing:
    """What becomes of new entries, and of those they erase."""
    known: dict[str, Erasure] = {}
    # Most stores never erased anything, and asking for 500 ids is not for nothing.
    anything = bool(ids) and connection.scalar(_ANY_ERASED)
    for start in range(0, len(ids) if anything else 0, BATCH):
        found = connection.execute(_ERASED, {"ids": ids[start : start + BATCH]})
        known |= {row.of: _as_erasure(row) for row in found}
    return erased.apply(ids, fresh, lambda entry_id: _known(connection, [entry_id]).get(entry_id), known)


def _first_of_each(entries: Iterable[Entry], ids: Iterable[str]) -> list[Entry]:
    """The entries of a batch with these ids: where two have the same one, the first is the one that is taken."""
    first: dict[str, Entry] = {}
    for entry in entries:
        first.setdefault(entry["id"], entry)
    return [first[entry_id] for entry_id in ids]


def _append(connection: Connection, erasing: Erasing, entries: Iterable[Entry], received: int, source: str) -> None:
    """`entries` are those of `erasing.fresh`, to save reading their bytes again."""
    head = _read_head(connection)
    rows: list[dict[str, Any]] = []
    for offset, (data, entry) in enumerate(zip(erasing.fresh, entries, strict=True)):
        position, bare = head.position + 1, offset in erasing.bare
        head = Head(head.epoch, position, seal.linked(head.hash, position, seal.leaf(data, bare=bare)))
        rows.append(
            {
                **_columns(entry),
                "data": data,
                "position": position,
                "received": received,
                "source": source,
                "bare": bare,
            }
        )
        rows[-1]["hash"] = bytes.fromhex(head.hash)
    _insert(connection, rows)
    connection.execute(_ADVANCE, {"position": head.position, "hash": head.hash})
    _touch(connection, rows)
    _erase(connection, erasing)
    attached = list(filter(None, (attachment_row(read(row["data"])) for row in rows if row["kind"] in _ATTACHED)))
    if attached:
        connection.execute(insert(tables.attachment), attached)


def _insert(connection: Connection, rows: Sequence[dict[str, Any]]) -> None:
    """As `connection.execute(_INSERT, rows)`, whose look at each value takes as long as the insert itself."""
    statement, order = _inserting(connection.dialect)
    connection.exec_driver_sql(statement, [tuple(row[name] for name in order) for row in rows] if order else [*rows])


@lru_cache(maxsize=8)
def _inserting(dialect: Dialect) -> tuple[str, list[str] | None]:
    """What a driver is told, and the order of its values where it does not know them by name."""
    made = _INSERT.compile(dialect=dialect)
    return str(made), made.positiontup


def _erase(connection: Connection, erasing: Erasing) -> None:
    known = {row.of for row in connection.execute(_erasures())} if erasing.erasures else set()
    for erasure in erasing.erasures:
        if erasure.of not in known:
            connection.execute(insert(tables.erasure), erasure._asdict())
            known.add(erasure.of)
    for entry_id, data in erasing.wiped.items():
        connection.execute(update(tables.entry).where(tables.entry.c.id == entry_id).values(data=data, bare=True))
        connection.execute(delete(tables.attachment).where(tables.attachment.c.entry == entry_id))


def _file(connection: Connection, entry: Any, refusal: Refusal, device: str, now: int) -> Filed:
    key = key_of(entry)
    settled = connection.scalar(select(tables.refused.c.settled).where(tables.refused.c.key == key))
    if settled is None:
        _refuse(connection, Record(key, entry, refusal, device, now, False))
    return Filed(key, bool(settled))


def _refuse(connection: Connection, record: Record) -> None:
    row = {**record._asdict(), "entry": json.dumps(record.entry)} | record.refusal._asdict()
    del row["refusal"]
    connection.execute(insert(tables.refused), row)


def _keep(connection: Connection, name: str, value: Any) -> None:
    row = {"value": json.dumps(value)}
    if not connection.execute(update(tables.kept).where(tables.kept.c.name == name), row).rowcount:
        connection.execute(insert(tables.kept), {"name": name, **row})


def _columns(entry: Entry) -> dict[str, Any]:
    """What stands beside an entry's bytes. Its clock may have come as 1.0, which is written 1."""
    ms, counter = entry["clock"]
    return {**{name: entry[name] for name in _NAMED}, "clock_ms": int(ms), "clock_counter": int(counter)}


def _says_what_it_holds(row: Any) -> bool:
    """Whether the columns of a row agree with its bytes. A hand in the database can leave anything in either."""
    try:
        columns = _columns(read(row.data))
    except (ValueError, KeyError, TypeError):
        return False
    return all(getattr(row, name) == value for name, value in columns.items())


def _touch(connection: Connection, rows: Sequence[dict[str, Any]]) -> None:
    """Bring the list of visits up to date; counted anew, so that nothing sent twice is counted twice."""
    last = {row["visit"]: row["position"] for row in rows}
    touched = [{"visit": visit, "position": position} for visit, position in last.items()]
    connection.execute(_TOUCH, touched)
    connection.execute(_SOIL, touched)


def _as_erasure(row: Any) -> Erasure:
    return Erasure(row.of, row.visit, row.sha256, row.by)


_NAMED = ("id", "visit", "kind", "item", "device", "author", "at")
_ATTACHED = (ATTACHMENT, ERASURE)

# Statements of every batch, put together once: for one entry that takes longer than the database needs to run them.
_HEAD = select(tables.head.c.epoch, tables.head.c.position, tables.head.c.hash)
_KNOWN = select(tables.entry.c.id, tables.entry.c.data).where(tables.entry.c.id.in_(bindparam("ids", expanding=True)))
_ERASED = select(tables.erasure).where(tables.erasure.c.of.in_(bindparam("ids", expanding=True)))
_ANY_ERASED = select(tables.erasure.c.of).limit(1)
_INSERT = insert(tables.entry)
_ADVANCE = update(tables.head)
_TOUCH = text(
    "INSERT INTO visit (visit, entries, position)"
    " VALUES (:visit, (SELECT count(*) FROM entry WHERE entry.visit = :visit), :position)"
    " ON CONFLICT (visit) DO UPDATE SET entries = excluded.entries, position = excluded.position"
)
_SOIL = text(
    "INSERT INTO dirty (visit, position) VALUES (:visit, :position)"
    " ON CONFLICT (visit) DO UPDATE SET position = excluded.position"
)


def _names(erased: bool) -> Select[tuple[str]]:
    return select(tables.attachment.c.name).where(tables.attachment.c.erased.is_(erased)).distinct()


def _links() -> Select[Any]:
    return select(tables.entry).order_by(tables.entry.c.position)


def _erasures() -> Select[tuple[str, str, str, str]]:
    row = tables.erasure.c
    return select(row.of, row.visit, row.sha256, row.by)


def _touched() -> Select[tuple[str, int, int]]:
    return select(tables.visit.c.visit, tables.visit.c.entries, tables.visit.c.position)


def _as_touched(row: Any) -> Touched:
    return Touched(row.visit, row.entries, row.position)


def _last(rows: Sequence[Any], position: int) -> int:
    # The head may be older than rows committed since it was read; never step back behind one already given.
    return max(position, rows[-1].position) if rows else position
