"""The drawer: entries that were refused, kept as they came until the manager has dealt with them."""

import hashlib
import json
from pathlib import Path
from typing import Any

from sync.disk import DISK, Disk
from sync.entry import Refusal
from sync.journal import Journal
from sync.store import Filed, Record

__all__ = ["Drawer", "key_of"]


def key_of(entry: Any) -> str:
    """Names what came by its bytes: SHA-256, 64 hex digits. It may be anything JSON can say, NaN included."""
    return hashlib.sha256(json.dumps(entry, sort_keys=True).encode()).hexdigest()


class Drawer:
    """A journal of refused entries. Only their keys stay in memory; they are read from the file when looked at."""

    def __init__(self, path: Path, *, write: bool = True, disk: Disk = DISK) -> None:
        self._settled: dict[str, bool] = {}
        self._disk = disk
        self._journal = Journal(path, write=write, disk=disk)
        self._journal.load(self._take)

    def put(self, entry: Any, refusal: Refusal, device: str, at: int) -> Filed:
        """Keep an entry, once however often it comes."""
        key = key_of(entry)
        if key not in self._settled:
            self._append({"key": key, "entry": entry, "refusal": list(refusal), "device": device, "at": at})
        return Filed(key, self._settled[key])

    def settle(self, key: str) -> bool:
        if key not in self._settled:
            return False
        if not self._settled[key]:
            self._append({"settled": key})
        return True

    def take(self, record: Record) -> None:
        """Keep a record of another drawer as it is."""
        self.put(record.entry, record.refusal, record.device, record.at)
        if record.settled:
            self.settle(key_of(record.entry))

    def all(self) -> list[Record]:
        """Every record, the oldest first."""
        records: list[Record] = []

        def take(line: Any) -> None:
            if "key" in line:
                at, key = line["at"], line["key"]
                refusal = Refusal(*line["refusal"])
                records.append(Record(key, line["entry"], refusal, line["device"], at, self._settled.get(key, False)))

        Journal(self._journal.path, write=False, disk=self._disk).load(take)
        return records

    def __len__(self) -> int:
        """How many are not settled."""
        return sum(not settled for settled in self._settled.values())

    def close(self) -> None:
        self._journal.close()

    def _append(self, line: dict[str, Any]) -> None:
        self._journal.append(json.dumps(line, separators=(",", ":")).encode())
        self._take(line)

    def _take(self, line: Any) -> None:
        if "settled" in line:
            self._settled[line["settled"]] = True
        else:
            self._settled.setdefault(line["key"], False)
