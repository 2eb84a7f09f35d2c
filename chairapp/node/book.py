"""The clinic document at a clinic server: entries in its store, of which the data folder holds the newest reading."""

import asyncio

from chairapp.clinic import CLINIC_VISIT, ClinicDocument
from chairapp.node.log import log
from chairapp.node.node import Node
from chairapp.people.changes import BY_ITSELF
from chairapp.people.clinic_book import KIND, ClinicBook
from sync.errors import StoreError

__all__ = ["book_of", "keep_hearing"]

_HEAR_EVERY = 5.0


def book_of(node: Node, sequence: str, invented: ClinicDocument | None) -> ClinicBook:
    """The book of this server; `sequence` is in force from now on. An old folder's document is taken over into it.

    `invented` is what an empty one begins with, None for a clinic that has to be set up.
    """

    def keep(document: ClinicDocument) -> None:
        if document != node.documents.clinic():
            node.documents.keep_clinic(document)

    def own(raw: dict[str, object]) -> dict[str, object]:
        address = node.settings.label_address or raw["label_address"]
        return {"address": node.settings.address, "label_address": address}

    book = ClinicBook(
        lambda: node.store.visit(CLINIC_VISIT),
        lambda item, value, author: node.write(CLINIC_VISIT, KIND, item, value, author),
        keep,
        own,
    )
    if book.document() is None and (begins := node.documents.clinic() or invented):
        book.begin(begins, BY_ITSELF)
    if book.document():
        book.set_settings({"sequence": sequence}, BY_ITSELF)
    book.refresh()
    return book


async def keep_hearing(node: Node, book: ClinicBook) -> None:
    """Until it is cancelled: notice what another server of this clinic changed in their database."""
    known = None
    while True:
        await asyncio.sleep(_HEAR_EVERY)
        try:
            touched = await asyncio.to_thread(node.store.touched, CLINIC_VISIT)
            if touched != known:
                await asyncio.to_thread(book.refresh)
                known = touched
        except StoreError as error:
            log("clinic_document.waiting", why=str(error))
