"""The manager's side of a clinic server: summaries that follow the store, and what the audit's pages are given."""

import asyncio
from typing import Any

from chairapp.audit.figures import Figures
from chairapp.audit.following import keep_following
from chairapp.audit.lines import SummaryIndex
from chairapp.audit.listing import Listing
from chairapp.audit.sources import Found, Heard, Sources, Verified
from chairapp.audit.summary import Summaries
from chairapp.audit.summed import Summing
from chairapp.box.code import nearest, parse, shown
from chairapp.box.errors import CodeError
from chairapp.box.record import box_record
from chairapp.node.log import log
from chairapp.node.node import Node
from chairapp.node.reading import check_store
from chairapp.people.proof import proved
from chairapp.register import Words
from sync.access import Device
from sync.errors import StoreError
from sync.heard import heard_of
from sync.sql_store import SqlStore

__all__ = ["Auditing"]

Doc = dict[str, Any]


class Auditing:
    """Of a clinic server; its register then stands on the summaries."""

    def __init__(self, node: Node) -> None:
        assert isinstance(node.store, SqlStore)  # noqa: S101 - what `open_store` gives a clinic server
        self._node = node
        self._store = node.store
        self._summaries = Summaries(node.store, Summing(node.documents.sequence, _label_on))
        self._following: asyncio.Task[None] | None = None
        node.register.stand_on(SummaryIndex(node.store, self._summaries))

    def sources(self) -> Sources:
        node, summaries = self._node, self._summaries
        return Sources(
            register=node.register,
            clinic=node.clinic,
            sequence=self._sequence,
            summaries=summaries,
            listing=Listing(summaries, node.clinic, node.settings.overdue_days),
            figures=Figures(summaries, node.clinic),
            kept=node.store,
            drawer=node.store,
            received=node.store.received,
            find=self._find,
            proof=lambda signature: proved(signature, node.keys()),
            label_on=_label_on,
            devices=self._devices,
            verify=self._verify,
        )

    def begin(self) -> None:
        """Follow the store from now on."""
        self._following = asyncio.create_task(keep_following(self._store, self._summaries, _failed))

    async def end(self) -> None:
        """Returns when nothing is being summed up any longer, so that the store can be closed."""
        if self._following:
            self._following.cancel()
            await asyncio.wait([self._following])
        await asyncio.to_thread(self._summaries.settle)

    def _sequence(self) -> Doc:
        """The sequence in force: for the words of a page that is about no single visit."""
        sequence = self._node.documents.sequence(self._node.clinic().sequence)
        assert sequence is not None  # noqa: S101 - a clinic server keeps it before it names it
        return sequence

    def _find(self, typed: str) -> Found:
        register = self._node.register
        try:
            code = parse(typed, register.codes())
        except CodeError as error:
            return Found([], str(error).partition("; did you mean")[0], error.suggestions)
        visits = [line.visit for line in register.with_code(code)]
        if visits:
            return Found(visits)
        near = nearest(code, register.codes())
        return Found([], f"box {shown(code)} is a code without a slip, but no visit here has it", near)

    def _devices(self) -> list[Heard]:
        return [self._heard(device) for device in self._node.devices.list()]

    def _heard(self, device: Device) -> Heard:
        latest = self._store.latest(device.id)
        return Heard(device, *heard_of(self._store, device.id), latest["at"] if latest else "")

    def _verify(self) -> Verified:
        checked = check_store(self._store, self._node.folder)
        return Verified(checked.flaw, checked.sentence)


def _label_on(view: Doc, words: Words) -> str:
    return box_record(view, words).on


def _failed(error: StoreError) -> None:
    log("summaries.waiting", why=str(error))
