"""The tables of the summaries, beside the store's own in the clinic's database. They can be made anew at any time.

summary_visit     a row a visit: what lists show and are filtered by, and what figures are made from
summary_flag      what is so of a visit ("state open", "has off", "accepted"), in the order of opening: a list by one
                  flag is a stretch of its key, however many visits there are
summary_step      the steps that count, of every visit: verdict, and the reason it was accepted for
summary_series    readings of one item by one person in the present round, as n and squares about their mean
summary_check     what somebody read a second time, beside what stood then
summary_head      one row: of what version they are, and how far they have come
"""

from typing import Any

from sqlalchemy import BigInteger, Boolean, Column, Float, Index, Integer, MetaData, Table, Text

__all__ = ["check", "flag", "head", "metadata", "series", "step", "visit"]

metadata = MetaData()


def _of_visit() -> Column[Any]:
    return Column("visit", Text, primary_key=True)


visit = Table(
    "summary_visit",
    metadata,
    _of_visit(),
    Column("position", BigInteger, nullable=False),
    Column("code", Text, nullable=False),
    Column("chair", Text, nullable=False),
    Column("author", Text, nullable=False),
    Column("opened", Text, nullable=False),
    Column("opened_ms", BigInteger, nullable=False),
    Column("last", Text, nullable=False),
    Column("entries", Integer, nullable=False),
    Column("sequence", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("trouble", Text, nullable=False),
    *(Column(verdict, Integer, nullable=False) for verdict in ("off", "unsure", "stale", "open", "accepted", "fits")),
    Column("missing", Text, nullable=False),
    Column("was_signed", Boolean, nullable=False),
    Column("signed", Boolean, nullable=False),
    Column("changed", Boolean, nullable=False),
    Column("printed", Boolean, nullable=False),
    Column("labelled", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("since_ms", BigInteger, nullable=False),
    Column("wanted", Text),
    Column("moved", Text, nullable=False),
    Column("distance", Float),
    Column("tried", Boolean, nullable=False),
    Column("repeat", Boolean, nullable=False),
    *(
        Column(f"fix_{what}", Boolean, nullable=False)
        for what in ("vertical", "centric", "plane", "midline", "display")
    ),
    Index("summary_opened", "opened_ms", "visit"),
    Index("summary_code", "code"),
    Index("summary_author", "author", "opened_ms", "visit"),
    Index("summary_chair", "chair", "opened_ms", "visit"),
    Index("summary_place", "place", "since_ms"),
)
flag = Table(
    "summary_flag",
    metadata,
    Column("flag", Text, primary_key=True),
    Column("opened_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("visit", Text, primary_key=True),
    Index("summary_flag_visit", "visit"),
)
step = Table(
    "summary_step",
    metadata,
    _of_visit(),
    Column("step", Text, primary_key=True),
    Column("verdict", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("by", Text, nullable=False),
)
series = Table(
    "summary_series",
    metadata,
    _of_visit(),
    Column("item", Text, primary_key=True),
    Column("author", Text, primary_key=True),
    Column("n", Integer, nullable=False),
    Column("squares", Float, nullable=False),
    Column("first", Float, nullable=False),
    Column("second", Float, nullable=False),
)
check = Table(
    "summary_check",
    metadata,
    _of_visit(),
    Column("entry", Text, primary_key=True),
    Column("item", Text, nullable=False),
    Column("first", Text, nullable=False),
    Column("second", Text, nullable=False),
    Column("first_author", Text, nullable=False),
    Column("second_author", Text, nullable=False),
)
head = Table(
    "summary_head",
    metadata,
    Column("one", Integer, primary_key=True, autoincrement=False),
    Column("version", Text, nullable=False),
    Column("changes", BigInteger, nullable=False),
    Column("caught_up_ms", BigInteger, nullable=False),
)
