"""A signature is proved by a key of whoever signed, on the tablet it was made at, or it is not proved."""

import base64
import json
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from chairapp.people.proof import keys_in, message, proved, public_jwk, thumbprint

VECTOR = json.loads((Path(__file__).parent / "webcrypto_signature.json").read_text())
"""Made by WebCrypto in Chromium: a public key, and a signature entry signed with its private half."""


def b64(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def jwk_of(private):
    numbers = private.public_key().public_numbers()
    return {"kty": "EC", "crv": "P-256", "x": b64(numbers.x.to_bytes(32)), "y": b64(numbers.y.to_bytes(32))}


def key_entry(jwk, person="clin-1", device="tablet-1"):
    return {"kind": "key", "value": {"person": person, "device": device, "jwk": jwk}}


def signed(private, author="clin-1", device="tablet-1", **changed):
    value = {"role": "clinician", "covers": {"tablet-1": "e1"}, "digest": "d" * 64, "verdicts": {}, "judge": "1"}
    entry = {"kind": "signature", "visit": "v1", "author": author, "device": device, "value": value}
    r, s = decode_dss_signature(private.sign(message(entry), ec.ECDSA(SHA256())))
    value |= {"key": thumbprint(jwk_of(private)), "proof": b64(r.to_bytes(32) + s.to_bytes(32))}
    value |= changed
    return entry


MINE, OTHER = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
KEYS = keys_in([key_entry(jwk_of(MINE)), key_entry(jwk_of(OTHER), "clin-2")])


def test_what_a_browser_signed_is_proved():
    assert proved(VECTOR["entry"], keys_in([VECTOR["key"]])) == "proved"
    assert thumbprint(VECTOR["key"]["value"]["jwk"]) == VECTOR["entry"]["value"]["key"]


def test_the_thumbprint_is_the_one_of_the_standard_for_a_key_on_this_curve():
    # RFC 7638, 3.1 gives an RSA key only; this EC key is that of RFC 7515, A.3.1. The thumbprint
    # is from memory: common in descriptions of this key, no source at hand.
    jwk = {
        "kty": "EC",
        "crv": "P-256",
        "x": "f83OJ3D2xF1Bg8vub9tLe1gHMzV76e8Tus9uPHvRVEU",
        "y": "x_FEzRu9m36HLN_tue659LNpXW6pCyStikYjKIWI5a0",
    }
    assert thumbprint(jwk | {"use": "sig", "kid": "any"}) == "oKIywvGUpTVTyxMQ3bwIIeQUudfr_CkLMjCE19ECD-U"


def test_a_signature_made_with_the_signers_own_key_is_proved():
    assert proved(signed(MINE), KEYS) == "proved"
    assert proved(signed(OTHER, author="clin-2"), KEYS) == "proved"


@pytest.mark.parametrize(
    "entry",
    [
        signed(MINE, role="supervised"),
        signed(MINE, digest="e" * 64),
        signed(MINE, covers={"tablet-1": "e2"}),
        signed(MINE, verdicts={"lip": "fits"}),
        signed(MINE) | {"visit": "v2"},
        signed(MINE, author="clin-2"),
        signed(MINE, device="tablet-2"),
        signed(OTHER, author="clin-2", key=thumbprint(jwk_of(MINE))),
        signed(MINE, proof="A" * 86),
        signed(MINE, proof="short"),
        signed(MINE, proof=""),
        signed(MINE, proof="not base64!"),
        signed(MINE, proof=signed(MINE)["value"]["proof"] + "="),
    ],
)
def test_whatever_is_changed_about_a_signature_its_proof_is_false(entry):
    assert proved(entry, KEYS) == "false"


def test_a_signature_by_a_key_that_has_not_come_yet_is_no_proof_and_no_lie():
    assert proved(signed(MINE), {}) == "unknown key"


@pytest.mark.parametrize("missing", ["key", "proof"])
def test_a_signature_from_before_keys_has_no_proof(missing):
    entry = signed(MINE)
    del entry["value"][missing]
    assert proved(entry, KEYS) == "no proof"


def test_a_value_that_is_no_signature_at_all_has_no_proof():
    assert proved({"value": None}, KEYS) == "no proof"


GOOD = jwk_of(MINE)


@pytest.mark.parametrize(
    "jwk",
    [
        None,
        "text",
        {},
        GOOD | {"crv": "P-384"},
        GOOD | {"kty": "RSA"},
        GOOD | {"d": "AAAA"},
        GOOD | {"x": None},
        GOOD | {"x": GOOD["y"]},
        GOOD | {"x": GOOD["x"] + "AA"},
        GOOD | {"y": "!"},
    ],
)
def test_what_is_no_public_key_on_the_curve_is_not_taken_for_one(jwk):
    assert public_jwk(jwk) is None
    assert keys_in([key_entry(jwk)]) == {}


def test_a_public_key_is_kept_without_what_does_not_belong_to_it():
    assert public_jwk(GOOD | {"ext": True, "key_ops": ["verify"]}) == GOOD


def test_other_entries_of_the_clinics_visit_are_no_keys():
    assert keys_in([{"kind": "clinic", "value": {}}, {"kind": "key", "value": None}]) == {}
