"""Attachments on their way to the next node: after the entries that name them, one at a time, each under its SHA-256.

Like `hop.Hop` a conversation without network or threads. What is still to be sent is found by reading the feed of
entries, so nothing has to be noted when an attachment comes in; one whose entry came before its bytes is waited for.
"""

import logging
from collections.abc import Callable
from typing import Any

from pydantic import BaseModel, Field

from sync.attached import names_in
from sync.blobs import FolderBlobs
from sync.clock import wall_ms
from sync.entry import Entry
from sync.errors import BlobError, HopRefused, NotFound
from sync.hop import OFFER_AGAIN_MS, UPSTREAM, Call, Steps
from sync.store import BATCH, Store

__all__ = ["KEPT", "BlobHop"]

KEPT = "upstream blobs"

_log = logging.getLogger(__name__)


class Sent(BaseModel):
    """What is remembered of it: `cursor` of our feed, names `waiting` to be sent, and when one was last refused (ms).

    `other` is what the other side's store was when this began; when it changes, all of it is offered again.
    """

    cursor: str | None = None
    waiting: list[str] = Field(default_factory=list)
    refused: dict[str, int] = Field(default_factory=dict)
    other: list[str] = Field(default_factory=list)


class Done(BaseModel):
    """An answer without words."""


class BlobHop:
    """`now` gives ms since 1970."""

    def __init__(self, store: Store, blobs: FolderBlobs, now: Callable[[], int] = wall_ms) -> None:
        self._store = store
        self._blobs = blobs
        self._now = now
        self._state = Sent.model_validate(store.kept(KEPT) or {})

    def pending(self) -> int:
        """How many entries named an attachment that the other side does not have yet."""
        return len(self._state.waiting)

    def missing(self) -> list[str]:
        """Attachments that a tablet has named and not handed in here."""
        return [name for name in self._state.waiting if self._blobs.since(name) is None]

    def round(self) -> Steps[None]:
        """Send what is here and was not sent. Raises HopError; one that is refused holds up no other."""
        began_anew = self._compare()
        self._prune()
        more = True
        while more:
            page = self._store.since(self._state.cursor, BATCH, not_from="" if began_anew else UPSTREAM)
            fresh = self._take(page.entries)
            more = page.more
            if page.cursor != self._state.cursor:
                self._state.cursor = page.cursor
                # A page without attachments is not worth a write; it is read again after a restart.
                if fresh or not more:
                    self._save()
            yield from self._send()

    def _compare(self) -> bool:
        """Whether the other side's store is not what it was: it may have lost attachments together with entries."""
        kept: dict[str, Any] = self._store.kept(UPSTREAM) or {}
        other = [str((kept.get("head") or {}).get("epoch", "")), str(kept.get("alarm", ""))]
        changed = bool(self._state.other) and other != self._state.other
        if changed:
            self._state.cursor, self._state.refused = None, {}
        self._state.other = other
        return changed

    def _prune(self) -> None:
        """Wait no longer for bytes whose entries were erased or let go of."""
        named = self._store.named(self._state.waiting) if self._state.waiting else set[str]()
        self._state.waiting = [name for name in self._state.waiting if name in named]
        self._state.refused = {name: at for name, at in self._state.refused.items() if name in named}

    def _take(self, entries: list[Entry]) -> bool:
        fresh = [name for name in names_in(entries) if name not in self._state.waiting]
        self._state.waiting += dict.fromkeys(fresh)
        return bool(fresh)

    def _send(self) -> Steps[None]:
        for name in self._due():
            data = self._bytes(name)
            if data is None:
                continue
            try:
                yield Call("PUT", f"/sync/blobs/{name}", Done, {}, data)
            except HopRefused as refused:
                if refused.answered not in (413, 422):
                    raise
                _log.warning("hop out: an attachment was refused (%d)", refused.answered)
                self._state.refused[name] = self._now()
            else:
                self._state.waiting.remove(name)
                self._state.refused.pop(name, None)
            self._save()

    def _due(self) -> list[str]:
        now, refused = self._now(), self._state.refused
        return [name for name in self._state.waiting if now - refused.get(name, 0) >= OFFER_AGAIN_MS]

    def _bytes(self, name: str) -> bytes | None:
        """None for one that is not here (yet), or no longer as it was put here: the tablet puts it again."""
        try:
            return self._blobs.get(name)
        except NotFound:
            return None
        except BlobError as error:
            _log.error("hop out: %s", error.why)
            return None

    def _save(self) -> None:
        self._store.keep(KEPT, self._state.model_dump())
