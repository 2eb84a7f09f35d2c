"""Whatever is done to a store, it is what a plain dict would be."""

import tempfile
from pathlib import Path
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from sync import seal
from sync.entry import Entry, in_order
from sync.sql_store import SqlStore
from sync.store import Store
from sync.tiny_store import TinyStore
from tests.sync.conftest import Maker


class StoreMachine(RuleBasedStateMachine):
    """Adds entries, old ones again, forged ones, and reopens; a dict in the order of arrival is the model."""

    def open(self) -> Store:
        raise NotImplementedError

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.store = self.open()
        self.maker = Maker()
        self.visits = [self.maker.stamper.new_id() for _ in range(3)]
        self.made: list[Entry] = []
        self.model: dict[str, Entry] = {}
        self.followed: list[Entry] = []
        self.cursor: str | None = None

    @rule(count=st.integers(1, 4), visit=st.integers(0, 2))
    def add_new(self, count: int, visit: int) -> None:
        self.add(self.maker.readings(count, visit=self.visits[visit]))

    @rule(data=st.data())
    def add_known_and_new_in_any_order(self, data: Any) -> None:
        self.made += self.maker.readings(2, visit=self.visits[0])
        self.add(data.draw(st.lists(st.sampled_from(self.made), max_size=5)))

    @rule(data=st.data())
    def forge(self, data: Any) -> None:
        if self.model:
            known = data.draw(st.sampled_from(list(self.model.values())))
            added = self.store.add([{**known, "value": "forged"}])
            assert not added.stored
            assert len(added.refused) == 1

    @rule()
    def reopen(self) -> None:
        self.store.close()
        self.store = self.open()

    @rule(limit=st.integers(1, 5))
    def follow(self, limit: int) -> None:
        page = self.store.since(self.cursor, limit)
        self.followed += page.entries
        self.cursor = page.cursor
        assert self.followed == list(self.model.values())[: len(self.followed)]
        assert page.more == (len(self.followed) < len(self.model))

    @invariant()
    def it_holds_what_the_model_holds(self) -> None:
        assert self.store.head().position == len(self.model)
        for visit in self.visits:
            mine = [entry for entry in self.model.values() if entry["visit"] == visit]
            assert self.store.visit(visit) == in_order(mine)

    @invariant()
    def its_chain_holds(self) -> None:
        head = self.store.head()
        assert seal.verify(head.epoch, self.store.links(), head.position, head.hash) is None

    def add(self, entries: list[Entry]) -> None:
        self.made += entries
        new = {entry["id"]: entry for entry in entries if entry["id"] not in self.model}
        added = self.store.add(entries)
        assert added.new == list(new)
        assert set(added.stored) == {entry["id"] for entry in entries}
        self.model |= new

    def teardown(self) -> None:
        self.store.close()
        self.folder.cleanup()


class TinyMachine(StoreMachine):
    def open(self) -> Store:
        return TinyStore(self.folder.name)


class SqlMachine(StoreMachine):
    def open(self) -> Store:
        return SqlStore(f"sqlite:///{Path(self.folder.name, 'clinic.sqlite')}")


TestTinyStoreIsADict = TinyMachine.TestCase
TestTinyStoreIsADict.settings = settings(max_examples=25, stateful_step_count=20, deadline=None)
TestSqlStoreIsADict = SqlMachine.TestCase
TestSqlStoreIsADict.settings = settings(max_examples=15, stateful_step_count=15, deadline=None)
