"""The tables of the SQL store, as the newest migration leaves them (`migrations/`).

entry        every entry: its canonical bytes, and beside them columns to find it by
visit        a line per visit: how many entries, the feed position of the last
head         one row: the store's name and where its chain stands
erasure      which values were erased, or will be when their entry arrives
attachment   which entries name which attachment's bytes, and which erasures take them away
dirty        visits whose summary is older than their entries
refused      the drawer
kept         small values beside the entries
device       paired devices and the digests of their tokens
people_safe  secrets of the application; nothing of them travels or goes into a backup
"""

from sqlalchemy import BigInteger, Boolean, Column, Index, Integer, LargeBinary, MetaData, Table, Text, false

__all__ = [
    "attachment",
    "device",
    "dirty",
    "entry",
    "erasure",
    "head",
    "kept",
    "metadata",
    "people_safe",
    "refused",
    "visit",
]

metadata = MetaData()

entry = Table(
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
    Column("bare", Boolean, nullable=False, server_default=false()),
    Index("entry_of_visit", "visit", "position"),
    Index("entry_of_device", "device", "id"),
)
visit = Table(
    "visit",
    metadata,
    Column("visit", Text, primary_key=True),
    Column("entries", Integer, nullable=False),
    Column("position", BigInteger, nullable=False),
    Index("visit_touched", "position"),
)
head = Table(
    "head",
    metadata,
    Column("one", Integer, primary_key=True, autoincrement=False),
    Column("format", Integer, nullable=False),
    Column("epoch", Text, nullable=False),
    Column("position", BigInteger, nullable=False),
    Column("hash", Text, nullable=False),
)
refused = Table(
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
kept = Table("kept", metadata, Column("name", Text, primary_key=True), Column("value", Text, nullable=False))
erasure = Table(
    "erasure",
    metadata,
    Column("of", Text, primary_key=True),
    Column("visit", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    Column("by", Text, nullable=False),
)
dirty = Table(
    "dirty",
    metadata,
    Column("visit", Text, primary_key=True),
    Column("position", BigInteger, nullable=False),
    Index("dirty_first", "position"),
)
device = Table(
    "device",
    metadata,
    Column("number", BigInteger().with_variant(Integer, "sqlite"), primary_key=True),
    Column("id", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("letter", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("revoked", BigInteger, nullable=False),
    Column("blocked", Boolean, nullable=False),
    Column("digest", Text, nullable=False, unique=True),
    Index("device_id", "id"),
)
attachment = Table(
    "attachment",
    metadata,
    Column("entry", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("erased", Boolean, nullable=False),
    Index("attachment_name", "name"),
    Index("attachment_erased", "erased", "name"),
)
people_safe = Table(
    "people_safe", metadata, Column("name", Text, primary_key=True), Column("value", Text, nullable=False)
)
