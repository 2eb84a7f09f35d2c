"""A clinic server that is set up, in this very process."""

from datetime import timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from chairapp.clinic import ClinicDocument, Person
from chairapp.node.documents import Documents
from chairapp.node.folder import make_folder
from chairapp.node.node import Node, open_store
from chairapp.node.settings import read_settings
from chairapp.people.demo import demo_clinic
from chairapp.sequence import digest, document, jaw_relation
from tests.sync.conftest import Maker

__all__ = ["MANAGER", "SEQUENCE_DIGEST", "certify", "maker", "node_of", "notes", "set_up"]

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


def certify(folder, ends):
    """A certificate for 127.0.0.1 and its key, both in one file."""
    key, name = ec.generate_private_key(ec.SECP256R1()), x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "node")])
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(ends - timedelta(days=30))
        .not_valid_after(ends)
        .sign(key, hashes.SHA256())
    )
    pem, plain = serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8
    file = folder / "node.pem"
    file.write_bytes(key.private_bytes(pem, plain, serialization.NoEncryption()) + certificate.public_bytes(pem))
    return file


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
