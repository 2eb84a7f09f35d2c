"""Entries in an SQL database, through SQLAlchemy Core: SQLite in one file, or PostgreSQL for several processes.

The exact canonical bytes stand beside the columns; the columns are there to find them by. SQLite runs in WAL mode with
synchronous FULL, so what was acknowledged survives a power cut. Feed position and chain are allocated under one lock
that is held to the commit, so that the order of positions is the order of commits and a reader never misses one.
"""

import json
import threading
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Connection,
    Engine,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Select,
    Table,
    Text,
    create_engine,
    event,
    func,
    insert,
    inspect,
    make_url,
    select,
    text,
    update,
)
from sqlalchemy.exc import DBAPIError

from sync import seal
from sync.clock import wall_ms
from sync.drawer import key_of
from sync.entry import Entry, Refusal, in_order, read
from sync.errors import StoreAway, StoreMissing, StoreNewer, StoreReadOnly
from sync.journal import Damage
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
    sort_batch,
)

__all__ = ["SqlStore", "metadata"]

FORMAT = 1

# Any number will do, so long as every process of one clinic takes the same: "three" in ASCII.
_LOCK = 0x7468726565

metadata = MetaData()

_entry = Table(
    "entry",
    metadata,
    Column("position", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=False),
    Column("id", Text, nullable=False, unique=True),
    Column("visit", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("item", Text),
    Column("device", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("clock_ms", BigInteger, nullable=False),
    Column("clock_counter", Integer, nullable=False),
    Column("received", BigInteger, nullable=False),
    Column("source", Text, nullable=False),
    Column("data", LargeBinary, nullable=False),
    Column("hash", LargeBinary, nullable=False),
    Index("entry_of_visit", "visit", "position"),
    Index("entry_of_device", "device", "id"),
)
_visit = Table(
    "visit",
    metadata,
    Column("visit", Text, primary_key=True),
    Column("entries", Integer, nullable=False),
    Column("position", BigInteger, nullable=False),
    Index("visit_touched", "position"),
)
_head = Table(
    "head",
    metadata,
    Column("one", Integer, primary_key=True, autoincrement=False),
    Column("format", Integer, nullable=False),
    Column("epoch", Text, nullable=False),
    Column("position", BigInteger, nullable=False),
    Column("hash", Text, nullable=False),
)
_refused = Table(
    "refused",
    metadata,
    Column("number", BigInteger().with_variant(Integer, "sqlite"), primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("entry", Text, nullable=False),
    Column("field", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("do", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("at", BigInteger, nullable=False),
    Column("settled", Boolean, nullable=False),
)
_kept = Table("kept", metadata, Column("name", Text, primary_key=True), Column("value", Text, nullable=False))


class SqlStore:
    """A `Store` in a database: `sqlite:///FILE` or `postgresql+psycopg://...`.

    With `write=False` it makes no database and changes none. Raises StoreNewer, StoreAway; StoreMissing when there is
    nothing to read.
    """

    def __init__(self, url: str, *, write: bool = True, now: Callable[[], int] = wall_ms) -> None:
        self.engine = _engine(url, write)
        self._write = write
        self._now = now
        self._listeners = Listeners()
        # SQLite's own waiting for a lock is a poll; threads of this process queue here instead.
        self._guard = threading.Lock()
        self.damaged: Sequence[Damage] = ()
        with self._writing() if write else self._reading() as connection:
            if write:
                metadata.create_all(connection)
            elif not inspect(connection).has_table(_head.name):
                raise StoreMissing("There is no store in this database.")
            self.epoch = _begin(connection)

    def add(self, entries: Sequence[Entry], *, source: str = "") -> Added:
        if not entries:
            return Added()
        with self._writing() as connection:
            known = _known(connection, [entry["id"] for entry in entries])
            added, fresh = sort_batch(entries, known.get)
            if fresh:
                self._append(connection, fresh, source)
        if fresh:
            self._listeners.tell()
        return added

    def get(self, entry_id: str) -> Entry | None:
        with self._reading() as connection:
            data = connection.scalar(select(_entry.c.data).where(_entry.c.id == entry_id))
        return read(data) if data else None

    def visit(self, visit: str) -> list[Entry]:
        with self._reading() as connection:
            found = connection.scalars(select(_entry.c.data).where(_entry.c.visit == visit))
            return in_order(read(data) for data in found)

    def since(self, cursor: str | None = None, limit: int = BATCH, *, visit: str = "", not_from: str = "") -> Page:
        with self._reading() as connection:
            head = _read_head(connection)
            query = select(_entry.c.position, _entry.c.data).where(_entry.c.position > position_of(cursor, head))
            if visit:
                query = query.where(_entry.c.visit == visit)
            if not_from:
                query = query.where(_entry.c.source != not_from)
            rows = connection.execute(query.order_by(_entry.c.position).limit(limit + 1)).all()
        more = len(rows) > limit
        position = rows[limit - 1].position if more else _last(rows, head.position)
        return Page([read(row.data) for row in rows[:limit]], cursor_at(head.epoch, position), more)

    def visits(self, cursor: str | None = None, limit: int = BATCH) -> TouchedPage:
        with self._reading() as connection:
            head = _read_head(connection)
            query = _touched().where(_visit.c.position > position_of(cursor, head))
            rows = connection.execute(query.order_by(_visit.c.position).limit(limit + 1)).all()
        more = len(rows) > limit
        position = rows[limit - 1].position if more else _last(rows, head.position)
        return TouchedPage([_as_touched(row) for row in rows[:limit]], cursor_at(head.epoch, position), more)

    def touched(self, visit: str) -> Touched | None:
        with self._reading() as connection:
            row = connection.execute(_touched().where(_visit.c.visit == visit)).first()
        return _as_touched(row) if row else None

    def head(self) -> Head:
        with self._reading() as connection:
            return _read_head(connection)

    def links(self) -> Iterator[Link]:
        position = 0
        columns = (_entry.c.position, _entry.c.data, _entry.c.hash, _entry.c.received)
        while True:
            query = select(*columns).where(_entry.c.position > position).order_by(_entry.c.position).limit(BATCH)
            with self._reading() as connection:
                rows = connection.execute(query).all()
            if not rows:
                return
            for row in rows:
                yield Link(row.position, row.data, row.hash.hex(), row.received)
            position = rows[-1].position

    def received(self, visit: str) -> dict[str, int]:
        with self._reading() as connection:
            rows = connection.execute(select(_entry.c.id, _entry.c.received).where(_entry.c.visit == visit))
            return {row.id: row.received for row in rows}

    def latest(self, device: str) -> Entry | None:
        query = select(_entry.c.data).where(_entry.c.device == device).order_by(_entry.c.id.desc()).limit(1)
        with self._reading() as connection:
            data = connection.scalar(query)
        return read(data) if data else None

    def refuse(self, entry: Any, refusal: Refusal, device: str = "") -> Filed:
        key = key_of(entry)
        with self._writing() as connection:
            settled = connection.scalar(select(_refused.c.settled).where(_refused.c.key == key))
            if settled is None:
                row = {"key": key, "entry": json.dumps(entry), "device": device, "at": self._now(), "settled": False}
                connection.execute(insert(_refused), {**row, **refusal._asdict()})
        return Filed(key, bool(settled))

    def refused(self) -> list[Record]:
        with self._reading() as connection:
            rows = connection.execute(select(_refused).order_by(_refused.c.number)).all()
        return [
            Record(row.key, json.loads(row.entry), Refusal(row.field, row.why, row.do), row.device, row.at, row.settled)
            for row in rows
        ]

    def refused_count(self) -> int:
        with self._reading() as connection:
            count = select(func.count()).select_from(_refused).where(_refused.c.settled.is_(False))
            return connection.scalar(count) or 0

    def settle(self, key: str) -> bool:
        with self._writing() as connection:
            done = connection.execute(update(_refused).where(_refused.c.key == key).values(settled=True))
            return done.rowcount > 0

    def keep(self, name: str, value: Any) -> None:
        if self.kept(name) == value:
            return
        row = {"value": json.dumps(value)}
        with self._writing() as connection:
            if not connection.execute(update(_kept).where(_kept.c.name == name), row).rowcount:
                connection.execute(insert(_kept), {"name": name, **row})

    def kept(self, name: str) -> Any:
        with self._reading() as connection:
            value = connection.scalar(select(_kept.c.value).where(_kept.c.name == name))
        return None if value is None else json.loads(value)

    def listen(self, heard: Callable[[], None]) -> Callable[[], None]:
        return self._listeners.listen(heard)

    def close(self) -> None:
        self.engine.dispose()

    def _append(self, connection: Connection, fresh: Sequence[bytes], source: str) -> None:
        head, received = _read_head(connection), self._now()
        rows: list[dict[str, Any]] = []
        for position, data in enumerate(fresh, head.position + 1):
            head = Head(head.epoch, position, seal.following(head.hash, position, data))
            rows.append({**_columns(data), "position": position, "received": received, "source": source})
            rows[-1]["hash"] = bytes.fromhex(head.hash)
        connection.execute(insert(_entry), rows)
        connection.execute(update(_head), {"position": head.position, "hash": head.hash})
        _touch(connection, rows)

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        """A transaction no other writer can come between, in any process. Raises StoreAway with nothing kept."""
        if not self._write:
            raise StoreReadOnly("The database was opened for reading.")
        try:
            with self._guard, self.engine.connect().execution_options(writes=True) as connection, connection.begin():
                if connection.dialect.name == "postgresql":
                    connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
                yield connection
        except DBAPIError as error:
            raise StoreAway(f"The database did not take it: {_reason(error)}") from error

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            with self.engine.connect() as connection:
                yield connection
        except DBAPIError as error:
            raise StoreAway(f"The database could not be read: {_reason(error)}") from error


def _engine(url: str, write: bool) -> Engine:
    made = make_url(url)
    if made.get_backend_name() != "sqlite":
        return create_engine(made, pool_pre_ping=True)
    if made.database and not write and not Path(made.database).exists():
        raise StoreMissing(f"There is no store at {made.database}.")
    if made.database and write:
        Path(made.database).parent.mkdir(parents=True, exist_ok=True)
        # Made here, for its owner only; SQLite gives its log files the same rights.
        Path(made.database).touch(mode=0o600)
    engine = create_engine(made, connect_args={"timeout": 30})
    event.listen(engine, "connect", _set_up_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _set_up_sqlite(connection: Any, _record: object) -> None:
    # The driver must not begin transactions of its own: ours choose what they lock (`_begin_sqlite`).
    connection.isolation_level = None
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")


def _begin_sqlite(connection: Connection) -> None:
    # A writer locks before it reads the head, or two could allocate the same position.
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _begin(connection: Connection) -> str:
    """The epoch of the store, which is drawn when it is made."""
    row = connection.execute(select(_head.c.format, _head.c.epoch)).first()
    if row is None:
        epoch = uuid.uuid4().hex
        first = {"one": 1, "format": FORMAT, "epoch": epoch, "position": 0, "hash": seal.first(epoch)}
        connection.execute(insert(_head), first)
        return epoch
    if row.format > FORMAT:
        raise StoreNewer(f"The database has format {row.format}, newer than {FORMAT}.")
    return str(row.epoch)


def _read_head(connection: Connection) -> Head:
    row = connection.execute(select(_head.c.epoch, _head.c.position, _head.c.hash)).one()
    return Head(row.epoch, row.position, row.hash)


def _known(connection: Connection, ids: Sequence[str]) -> dict[str, bytes]:
    # In parts: a database takes only so many values in one question.
    known: dict[str, bytes] = {}
    for start in range(0, len(ids), BATCH):
        query = select(_entry.c.id, _entry.c.data).where(_entry.c.id.in_(ids[start : start + BATCH]))
        known |= {row.id: row.data for row in connection.execute(query)}
    return known


def _columns(data: bytes) -> dict[str, Any]:
    entry = read(data)
    names = ("id", "visit", "kind", "item", "device", "author", "at")
    ms, counter = entry["clock"]
    return {**{name: entry[name] for name in names}, "clock_ms": ms, "clock_counter": counter, "data": data}


def _touch(connection: Connection, rows: Sequence[dict[str, Any]]) -> None:
    """Bring the list of visits up to date; counted anew, so that nothing sent twice is counted twice."""
    last = {row["visit"]: row["position"] for row in rows}
    for visit, position in last.items():
        entries = connection.scalar(select(func.count()).where(_entry.c.visit == visit)) or 0
        values = {"entries": entries, "position": position}
        if not connection.execute(update(_visit).where(_visit.c.visit == visit).values(values)).rowcount:
            connection.execute(insert(_visit), {"visit": visit, **values})


def _touched() -> Select[tuple[str, int, int]]:
    return select(_visit.c.visit, _visit.c.entries, _visit.c.position)


def _as_touched(row: Any) -> Touched:
    return Touched(row.visit, row.entries, row.position)


def _last(rows: Sequence[Any], position: int) -> int:
    # The head may be older than rows committed since it was read; never step back behind one already given.
    return max(position, rows[-1].position) if rows else position


def _reason(error: DBAPIError) -> str:
    return str(error.orig).strip().splitlines()[0] if error.orig else type(error).__name__
