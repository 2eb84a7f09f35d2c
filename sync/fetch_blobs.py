"""Attachments that are here only by name: their bytes are fetched from the next node, one at a time, each checked.

Like `hop.Hop` a conversation without network or threads. What is lacking is found by reading the feed of entries that
came from there; how far that was read, and what was not to be had, is remembered, so that it goes on after any end.
"""

import logging
from collections.abc import Callable, Iterable

from pydantic import BaseModel, Field

from sync.attached import names_in
from sync.blobs import FolderBlobs
from sync.clock import wall_ms
from sync.errors import BlobError, BodyTooLarge, HopRefused, NotFound
from sync.hop import OFFER_AGAIN_MS, UPSTREAM, Blob, Call, Steps
from sync.store import BATCH, Store

__all__ = ["LACKING", "BlobFetch"]

LACKING = "lacking blobs"

_SOONEST_MS = 60 * 1000

_log = logging.getLogger(__name__)


class Asked(BaseModel):
    """When bytes were missed first, and when the other side was last asked for them (ms since 1970)."""

    first: int
    last: int


class Lacking(BaseModel):
    """What is remembered: `cursor` of our feed, and the names of bytes that were not to be had so far.

    `other` is what the other side's store was when this began; another one is asked for all that is lacking.
    """

    cursor: str | None = None
    lacking: dict[str, Asked] = Field(default_factory=dict)
    other: str = ""


class BlobFetch:
    """`now` gives ms since 1970."""

    def __init__(self, store: Store, blobs: FolderBlobs, now: Callable[[], int] = wall_ms) -> None:
        self._store = store
        self._blobs = blobs
        self._now = now
        self._state = Lacking.model_validate(store.kept(LACKING) or {})

    def round(self, awaited: Iterable[str] = ()) -> Steps[None]:
        """Fetch what entries from there name and is not here. Raises HopError, or StoreError when our own store fails.

        `awaited` are attachments a tablet has yet to hand in here; it may have handed them in there.
        """
        self._prune()
        for name in awaited:
            self._state.lacking.setdefault(name, Asked(first=self._now(), last=self._now()))
        self._save()
        yield from self._fetch(name for name, asked in [*self._state.lacking.items()] if self._is_due(asked))
        more = True
        while more:
            page = self._store.since(self._state.cursor, BATCH, only_from=UPSTREAM)
            names = dict.fromkeys(names_in(page.entries))
            yield from self._fetch(names)
            more, self._state.cursor = page.more, page.cursor
            # A page without attachments is not worth a write; it is read again after a restart.
            if names:
                self._save()

    def _prune(self) -> None:
        """Forget what was erased or let go of; begin anew when the other side's store is another one."""
        other = str(((self._store.kept(UPSTREAM) or {}).get("head") or {}).get("epoch", ""))
        if other != self._state.other:
            self._state = Lacking(other=other)
        named = self._store.named(self._state.lacking) if self._state.lacking else set[str]()
        self._state.lacking = {name: asked for name, asked in self._state.lacking.items() if name in named}

    def _is_due(self, asked: Asked) -> bool:
        """The longer it is lacking the more rarely it is asked for: from every minute to once a day."""
        pause = min(max(asked.last - asked.first, _SOONEST_MS), OFFER_AGAIN_MS)
        return self._now() - asked.last >= pause

    def _fetch(self, names: Iterable[str]) -> Steps[None]:
        for name in names:
            came = self._is_here(name) or (yield from self._fetch_one(name))
            known = self._state.lacking.pop(name, None)
            if not came:
                now = self._now()
                self._state.lacking[name] = Asked(first=known.first if known else now, last=now)
            if known or not came:
                self._save()

    def _fetch_one(self, name: str) -> Steps[bool]:
        """Whether the bytes came, and are what they are called."""
        try:
            answer = yield Call("GET", f"/sync/blobs/{name}", Blob, {})
            self._blobs.put(name, answer.data)
        except HopRefused as refused:
            if refused.answered not in (404, 422):
                raise
            return False
        except (BlobError, BodyTooLarge) as error:
            _log.warning("hop out: an attachment came spoilt: %s", error.why)
            return False
        return True

    def _is_here(self, name: str) -> bool:
        """Also looked at: one damaged on this disk is fetched anew."""
        try:
            self._blobs.get(name)
        except (NotFound, BlobError):
            return False
        return True

    def _save(self) -> None:
        self._store.keep(LACKING, self._state.model_dump())
