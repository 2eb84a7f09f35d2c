"""The pages by which a clinic server's people are kept: set-up, staff, PINs, tablets."""

from fastapi import FastAPI

from chairapp.box.label import symbol_fits
from chairapp.node.addresses import Addresses
from chairapp.node.node import Node, origin_of
from chairapp.people.clinic_book import ClinicBook
from chairapp.people.demo import demo_clinic
from chairapp.people.doors import Doors
from chairapp.people.links import Links
from chairapp.people.pairing_codes import PairingCodes
from chairapp.people.people_page import People, add_people, people_routes
from chairapp.people.pin_page import add_pin_pages, pin_page_routes
from chairapp.people.pins import Pins
from chairapp.people.safe import Safe
from chairapp.people.set_up import SetUp, add_set_up, set_up_routes
from chairapp.people.tablets_page import Tablets, add_tablets
from sync.heard import heard_of

__all__ = ["add_people_pages"]


def add_people_pages(
    app: FastAPI,
    node: Node,
    doors: Doors,
    book: ClinicBook,
    sequence: str,
    safe: Safe,
    pins: Pins,
    codes: PairingCodes,
    addresses: Addresses,
) -> SetUp:
    """`sequence` is the digest of the one in force. Returns what setting the clinic up is done with."""
    pin_links = Links(safe, "pin links")
    known = node.documents.sequence(sequence)
    assert known is not None  # noqa: S101 - a clinic server keeps it before it names it
    languages = sorted(known["texts"])
    people = People(
        book, node.clinic, pins, pin_links, languages, lambda host: symbol_fits(origin_of(host)), node.settings.address
    )
    add_people(doors.page, doors.frame, people)
    app.include_router(people_routes(doors, people))
    add_pin_pages(doors.page, doors.frame, node.clinic, pin_links)
    app.include_router(pin_page_routes(doors, node.clinic, pins, pin_links))
    add_tablets(doors.page, doors.frame, _tablets(node, doors, codes, addresses))
    blank = demo_clinic(sequence, f"{node.settings.host}:{node.settings.port}")
    set_up = SetUp(book, Links(safe, "set-up links"), pins, lambda: blank, languages)
    add_set_up(doors.page, doors.frame, set_up)
    app.include_router(set_up_routes(doors, set_up))
    return set_up


def _tablets(node: Node, doors: Doors, codes: PairingCodes, addresses: Addresses) -> Tablets:
    def places() -> list[tuple[str, str]]:
        return [("the clinic server", node.settings.address), *addresses.places()]

    def heard(device: str) -> int:
        return heard_of(node.store, device)[0]

    return Tablets(node.devices, codes, node.clinic, places, heard, doors.note)


def _fits(host: str) -> bool:
    return symbol_fits(origin_of(host))
