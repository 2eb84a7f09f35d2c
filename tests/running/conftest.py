"""A clinic server that is set up, in this very process."""

import pytest

from chairapp.clinic import ClinicDocument, Person
from chairapp.node.documents import Documents
from chairapp.node.folder import make_folder
from chairapp.node.node import Node, open_store
from chairapp.node.settings import read_settings
from chairapp.people.demo import demo_clinic
from chairapp.sequence import digest, document, jaw_relation
from tests.sync.conftest import Maker

__all__ = ["MANAGER", "SEQUENCE_DIGEST", "maker", "node_of", "notes", "set_up"]

SEQUENCE = document(jaw_relation())
SEQUENCE_DIGEST = digest(SEQUENCE)
MANAGER = Person(id="manager", name="Manager", role="manager")
ASSISTANT = Person(id="assistant", name="Assistant", role="assistant")


def clinic_of() -> ClinicDocument:
    plain = demo_clinic(SEQUENCE_DIGEST, "127.0.0.1:8190")
    return plain.model_copy(update={"invented": False, "staff": [MANAGER, ASSISTANT]})


def set_up(folder, role="clinic"):
    """The folder of a node that knows its clinic."""
    made = make_folder(folder, role, {})
    documents = Documents(made)
    documents.keep_sequence(SEQUENCE)
    documents.keep_clinic(clinic_of())
    return made


def node_of(folder, role="clinic", **flags):
    """The inside of a node that serves nobody. Close its store."""
    made = set_up(folder, role)
    settings = read_settings(role, folder, flags, {}, {})
    node = Node(settings, made, open_store(made))
    node.device = lambda: made.node
    return node


def notes(maker, count=2):
    """A visit with so many notes."""
    made = [maker.reading(value="12 Invented Street") | {"kind": "note", "item": "seating"} for _ in range(count)]
    return [maker.reading(value={"digest": "0" * 64, "box": "7KQ4M2X9"}) | {"kind": "opened", "item": None}, *made]


@pytest.fixture
def node(tmp_path):
    """Of a clinic server with a backup every night to a folder beside it."""
    (tmp_path / "backups").mkdir()
    node = node_of(tmp_path / "data", backup_to=str(tmp_path / "backups"), backup_keep="3")
    yield node
    node.store.close()


@pytest.fixture
def maker():
    return Maker()
