"""`threemark verify` counts which signatures a person's key proves, and names the first that is a lie."""

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from chairapp.clinic import CLINIC_VISIT
from chairapp.node.reading import check_all
from chairapp.people.proof import message, thumbprint
from chairapp.sequence import digest, document, jaw_relation
from chairapp.sequence.view import to_sign
from sync import seal
from sync.entry import Stamper
from sync.sql_store import SqlStore
from tests.people.test_proof import b64, jwk_of

SEQUENCE = document(jaw_relation())
OPENED = {"sequence": "jaw-relation", "digest": digest(SEQUENCE), "box": "7KQ4M2X9", "chair": "1", "language": "en"}
TABLET = Stamper("tablet-1")
VISIT = TABLET.new_id()


def entry(kind, item, value, visit=VISIT):
    return TABLET.entry(visit, kind, author="clin-1", item=item, value=value)


def signature(covered, private=None, **changed):
    signed = to_sign(SEQUENCE, covered)
    value = {"role": "clinician", "covers": signed["covers"], "digest": seal.digest(signed["entries"])}
    made = entry("signature", "review", value | {"verdicts": {}, "judge": "1"})
    if private:
        r, s = decode_dss_signature(private.sign(message(made), ec.ECDSA(SHA256())))
        proof = b64(r.to_bytes(32) + s.to_bytes(32))
        made["value"] |= {"key": thumbprint(jwk_of(private)), "proof": proof} | changed
    return made


def checked(tmp_path, make):
    """What verify says of a visit with these signatures, one key being known."""
    private = ec.generate_private_key(ec.SECP256R1())
    key = {"person": "clin-1", "device": "tablet-1", "jwk": jwk_of(private)}
    covered = [entry("opened", None, OPENED), entry("answer", "lip.support", "supported")]
    url = f"sqlite:///{tmp_path / 'clinic.sqlite'}"
    store = SqlStore(url)
    added = store.add([*covered, entry("key", "key", key, CLINIC_VISIT), *make(covered, private)])
    store.close()
    assert not added.refused
    return check_all(None, url)


def test_signatures_are_counted_by_what_proves_them(tmp_path):
    stranger = ec.generate_private_key(ec.SECP256R1())
    found = checked(
        tmp_path,
        lambda covered, private: [signature(covered, private), signature(covered, stranger), signature(covered)],
    )
    assert found.flaw is None
    assert "3 signatures hold (1 proved by a key, 2 not proved, 0 false)" in found.sentence


def test_a_signature_that_the_key_it_names_did_not_make_is_named(tmp_path):
    made = []

    def forged(covered, private):
        made.append(signature(covered, private, role="supervisor"))
        return made

    found = checked(tmp_path, forged)
    assert found.flaw is not None
    assert made[0]["id"] in found.flaw
    assert "not made by the key" in found.flaw
