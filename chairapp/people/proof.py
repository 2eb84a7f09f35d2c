"""Is a signature proved by a key of the person who is said to have signed?

A person has one ECDSA key on each tablet, made there and never leaving it. The clinic knows its public half from the
entries of kind `key` on the clinic's own visit, which a node wrote after it had verified the person's PIN. The proof is
over the canonical bytes (RFC 8785) of what the signature says. Sources: FIPS 186-5 (ECDSA), SEC 1 and RFC 7518, 3.4
(P-256, the signature as r and s of 32 bytes each), RFC 7638 (thumbprint of a key).
"""

import base64
import hashlib
from collections.abc import Iterable, Mapping
from typing import Any, Literal, NamedTuple

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ec import ECDSA, SECP256R1, EllipticCurvePublicNumbers
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

__all__ = ["Key", "Keys", "Proof", "keys_in", "message", "proved", "public_jwk", "thumbprint"]

Doc = dict[str, Any]
Proof = Literal["proved", "unknown key", "false", "no proof"]
_SIGNED = ("role", "covers", "digest", "verdicts", "judge")
_NUMBER_BYTES = 32


class Key(NamedTuple):
    """A public key: whose it is, on which device it was made, and its JWK {"kty": "EC", "crv": "P-256", "x", "y"}."""

    person: str
    device: str
    jwk: Doc


Keys = Mapping[str, Key]
"""By thumbprint."""


def proved(entry: Doc, keys: Keys) -> Proof:
    """What a signature entry's proof is worth, given the keys that are known.

    "no proof": made before people had keys. "unknown key": its key may still come, so it says nothing against it.
    "false": the key is another person's or another tablet's, or the proof is not of what the signature says.
    """
    value = entry["value"]
    if not (isinstance(value, dict) and isinstance(value.get("key"), str) and isinstance(value.get("proof"), str)):
        return "no proof"
    key = keys.get(value["key"])
    if key is None:
        return "unknown key"
    if (key.person, key.device) != (entry["author"], entry["device"]):
        return "false"
    return "proved" if _verifies(key.jwk, value["proof"], message(entry)) else "false"


def message(entry: Doc) -> bytes:
    """The bytes that are signed: the visit, who signs, and all the signature says apart from key and proof."""
    said = {name: entry["value"].get(name) for name in _SIGNED}
    return rfc8785.dumps({"visit": entry["visit"], "author": entry["author"], **said})


def keys_in(entries: Iterable[Doc]) -> dict[str, Key]:
    """The keys that these entries of the clinic's own visit name; one that cannot be a key is left out."""
    found = {}
    for entry in entries:
        if entry["kind"] == "key" and (key := _key(entry["value"])):
            found[thumbprint(key.jwk)] = key
    return found


def thumbprint(jwk: Doc) -> str:
    """Names a public key: SHA-256 of its canonical JWK, base64url without padding (RFC 7638, 3)."""
    needed = {name: jwk[name] for name in ("crv", "kty", "x", "y")}
    return _base64url(hashlib.sha256(rfc8785.dumps(needed)).digest())


def public_jwk(jwk: Any) -> Doc | None:
    """The four members of a public key on P-256 and nothing else; None for whatever is not one, a private key too."""
    if not isinstance(jwk, dict) or (jwk.get("kty"), jwk.get("crv")) != ("EC", "P-256") or "d" in jwk:
        return None
    plain = {name: jwk.get(name) for name in ("kty", "crv", "x", "y")}
    try:
        _numbers(plain).public_key()
    except (ValueError, TypeError):
        return None
    return plain


def _key(value: Any) -> Key | None:
    if not isinstance(value, dict):
        return None
    person, device, jwk = value.get("person"), value.get("device"), public_jwk(value.get("jwk"))
    return Key(person, device, jwk) if jwk and isinstance(person, str) and isinstance(device, str) else None


def _verifies(jwk: Doc, proof: str, said: bytes) -> bool:
    try:
        raw = _bytes(proof)
        r, s = raw[:_NUMBER_BYTES], raw[_NUMBER_BYTES:]
        if len(raw) != 2 * _NUMBER_BYTES:
            return False
        der = encode_dss_signature(int.from_bytes(r), int.from_bytes(s))
        _numbers(jwk).public_key().verify(der, said, ECDSA(SHA256()))
    except (InvalidSignature, ValueError):
        return False
    return True


def _numbers(jwk: Doc) -> EllipticCurvePublicNumbers:
    x, y = (_bytes(jwk[name]) for name in ("x", "y"))
    if len(x) != _NUMBER_BYTES or len(y) != _NUMBER_BYTES:
        raise ValueError("a coordinate of P-256 has 32 bytes")
    return EllipticCurvePublicNumbers(int.from_bytes(x), int.from_bytes(y), SECP256R1())


def _base64url(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def _bytes(text: str) -> bytes:
    """base64url without padding, written in its one way. Raises ValueError, and TypeError for what is no text."""
    data = base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)  # binascii.Error is one
    if _base64url(data) != text:
        raise ValueError("not base64url in its one way")
    return data
