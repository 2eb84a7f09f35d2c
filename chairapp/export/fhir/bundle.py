"""All of it in one Bundle, written resource by resource."""

import json
from collections.abc import Iterable, Iterator
from itertools import chain
from typing import Any, TextIO

from chairapp.export.fhir.about import About, organization, practitioner
from chairapp.export.fhir.asked import questionnaire, response
from chairapp.export.fhir.codes import code_system
from chairapp.export.fhir.measured import observations
from chairapp.export.fhir.record import record
from chairapp.export.fhir.trail import trail
from chairapp.export.source import Progress, Source, Visit, ignore
from chairapp.sequence import document, jaw_relation

__all__ = ["resources_of", "write_bundle"]

Doc = dict[str, Any]


def write_bundle(source: Source, file: TextIO, made: str, progress: Progress = ignore) -> int:
    """One Bundle of type `collection`, an entry a line; gives how many visits are in it.

    Visits that cannot be judged, as their sequence is not here, are left out and counted (`Source.left_out`). Raises
    what `Source.each` raises.
    """
    writer = _Writer(source, made)
    file.write(f'{{"resourceType":"Bundle","type":"collection","timestamp":{json.dumps(made)},"entry":[')
    first = True
    for resource in writer.resources(progress):
        row = {"fullUrl": f"urn:uuid:{resource['id']}", "resource": resource}
        file.write(("\n" if first else ",\n") + json.dumps(row, ensure_ascii=False, separators=(",", ":")))
        first = False
    file.write("\n]}\n")
    return writer.visits


def resources_of(visit: Visit) -> Iterator[Doc]:
    """The resources of one visit; people and sequence, at which they point too, are the bundle's."""
    about = About(visit)
    return chain(record(about), [response(about)], observations(about), trail(about))


class _Writer:
    """Says once what many visits share: people, sequences, codes."""

    def __init__(self, source: Source, made: str) -> None:
        self.visits = 0
        self._source = source
        self._made = made
        self._people: set[str] = set()
        self._sequences: dict[str, Doc] = {}

    def resources(self, progress: Progress) -> Iterator[Doc]:
        if self._source.clinic:
            yield organization(self._source.clinic.clinic)
        for visit in self._source.each(progress):
            if visit.view and visit.sequence and visit.opened:
                self.visits += 1
                yield from self._new_people(visit.entries)
                yield from self._new_sequence(visit.sequence, visit.opened["value"]["digest"])
                yield from resources_of(visit)
            else:
                self._source.left_out += 1
        yield code_system(self._sequences.values() or [document(jaw_relation())], self._made)

    def _new_people(self, entries: Iterable[Doc]) -> Iterator[Doc]:
        for author in dict.fromkeys(entry["author"] for entry in entries):
            if author not in self._people:
                self._people.add(author)
                yield practitioner(author, self._source.people.get(author))

    def _new_sequence(self, sequence: Doc, name: str) -> Iterator[Doc]:
        if name not in self._sequences:
            self._sequences[name] = sequence
            yield questionnaire(sequence, name, self._made)
