"""Re-checks a full record: python verify_record.py FILE. Needs Python alone; `cryptography`, if installed, for proofs.

Exit code 0: all holds. 1: the first thing that does not is named. 2: no such record. For the format see record_file.py.
"""

import base64
import hashlib
import json
import sys
from collections import Counter
from decimal import Decimal

try:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric import ec, utils
    from cryptography.hazmat.primitives.hashes import SHA256
except ImportError:
    ec = None

CLINICAL = ("answer", "reading", "withdrawal", "adjustment", "acceptance", "note")
SAID = ("role", "covers", "digest", "verdicts", "judge")


def need(holds, why):
    if not holds:
        raise SystemExit(f"NOT WHOLE: {why}")


def sha(text):
    return hashlib.sha256(text.encode() if isinstance(text, str) else text)


def canonical(value):
    """RFC 8785: names in the order of UTF-16, numbers as ECMAScript writes them."""
    if isinstance(value, dict):
        pairs = sorted(value.items(), key=lambda pair: pair[0].encode("utf-16-be"))
        return "{" + ",".join(f"{canonical(name)}:{canonical(part)}" for name, part in pairs) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(canonical, value)) + "]"
    return number(value) if isinstance(value, float) else json.dumps(value, ensure_ascii=False)


def number(value):
    if value == 0 or not 1e-6 <= abs(value) < 1e21:
        return repr(value).replace("e-0", "e-") if value else "0"
    return format(Decimal(repr(value)).normalize(), "f")


def leaf(entry, bare):
    """What the chain holds of an entry: the digest of its bytes, with the value replaced by the value's digest."""
    erased = entry["value"] if bare else {"erased": sha(canonical(entry["value"])).hexdigest()}
    return sha("threemark chain 1 entry\n" + canonical(entry | {"value": erased})).digest()


def walk(chain, head, whole):
    at, found = head["cut"]
    need(at or found == sha("threemark chain 1 start\n" + head["epoch"]).hexdigest(), "the chain begins elsewhere")
    for position in range(at + 1, head["position"] + 1) if whole else sorted(chain):
        need(position in chain, f"entry {position} is missing")
        leaf, said, before = chain[position]
        before = bytes.fromhex(found if whole else before or found)
        found = sha(b"threemark chain 1 link\n" + before + position.to_bytes(8, "big") + leaf).hexdigest()
        need(said in (found, None), f"entry {position} is not what was stored")
    need(not whole or (found == head["hash"] and len(chain) == head["position"] - at), "the head is another")


def visit_of(rows, sequences, keys, chain):
    """What the signatures of one visit are worth, as words; the links of its entries go into `chain`."""
    entries = sorted((row["entry"] for row in rows), key=lambda entry: (entry["clock"], entry["id"]))
    erased = {entry["of"] for entry in entries if entry["kind"] == "erasure"}
    for row in rows:
        name, position, bare = row["entry"]["id"], row["position"], bool(row.get("bare"))
        need(position not in chain, f"two entries stand at {position}")
        need(not bare or name in erased, f"no erasure says why the value of entry {name} is gone")
        chain[position] = leaf(row["entry"], bare), row["hash"], row.get("before")
    opened = [entry["value"]["digest"] for entry in entries if entry["kind"] == "opened"]
    for entry in entries:
        if entry["kind"] == "signature":
            yield digest(entry, entries, erased, sequences.get(opened[-1] if opened else ""))
            yield proof(entry, keys.get(entry["value"].get("key")))


def digest(signature, entries, erased, sequence):
    if sequence is None:
        return "signatures of an unknown sequence"
    order = [step["id"] for step in sequence["steps"]]
    later = order[order.index("review") :] if "review" in order else []
    steps = {item["id"]: step["id"] for step in sequence["steps"] for item in step["items"]}
    covered = []
    for entry in entries:
        step = steps.get(entry["item"], (entry["item"] or "").split(".")[0])
        known = entry["id"] <= signature["value"]["covers"].get(entry["device"], "")
        covered += [entry] if known and entry["kind"] in CLINICAL and step not in later else []
    if any(entry["id"] in erased for entry in covered):
        return "signatures over erased values"
    made = sha(canonical(covered)).hexdigest()
    need(made == signature["value"]["digest"], f"signature {signature['id']} is over other entries than it says")
    return "signatures hold"


def proof(signature, key):
    """ECDSA P-256 with SHA-256, r and s of 32 bytes each, by a key of the author on this very device."""
    value, flaw = signature["value"], f"signature {signature['id']} is not proved by its author's key"
    if key is None or not value.get("proof"):
        return "signatures without a known key"
    if ec is None:
        return "proofs not looked at, cryptography is not installed"
    raw, x, y = (base64.urlsafe_b64decode(text + "==") for text in (value["proof"], key["jwk"]["x"], key["jwk"]["y"]))
    r, s, x, y = (int.from_bytes(part, "big") for part in (raw[:32], raw[32:], x, y))
    said = {"visit": signature["visit"], "author": signature["author"]} | {name: value.get(name) for name in SAID}
    try:
        public = ec.EllipticCurvePublicNumbers(x, y, ec.SECP256R1()).public_key()
        public.verify(utils.encode_dss_signature(r, s), canonical(said).encode(), ec.ECDSA(SHA256()))
    except (InvalidSignature, ValueError):
        need(False, flaw)
    need(len(raw) == 64 and (key["person"], key["device"]) == (signature["author"], signature["device"]), flaw)
    return "signatures proved"


def check(document):
    whole, visits, chain, keys = document["scope"] == "all", {}, {}, {}
    ids = [row["entry"]["id"] for row in document["entries"]]
    need(len(ids) == document["end"]["entries"], f"{document['end']['entries']} entries were exported")
    need(len(set(ids)) == len(ids), "two entries have one id")
    for row in document["sequences"]:
        need(sha(canonical(row["document"])).hexdigest() == row["digest"], f"sequence {row['digest']} is another")
    for row in document["attachments"]:
        need(row["sha256"] == sha(base64.b64decode(row["base64"])).hexdigest(), f"attachment {row['sha256']}")
    sequences = {row["digest"]: row["document"] for row in document["sequences"]}
    for row in document["keys"]:
        four = canonical({name: row["jwk"][name] for name in ("crv", "kty", "x", "y")})
        keys[base64.urlsafe_b64encode(sha(four).digest()).rstrip(b"=").decode()] = row
    for row in document["entries"]:
        visits.setdefault(row["entry"]["visit"], []).append(row)
    found = Counter(said for rows in visits.values() for said in visit_of(rows, sequences, keys, chain))
    chain |= {row["position"]: (bytes.fromhex(row["leaf"]), None, None) for row in document["purged"]}
    walk(chain, document["chain"], whole)
    scope = f"chain whole to {document['chain']['hash'][:16]}" if whole else "every link of the chain holds"
    return ", ".join([f"{len(ids)} entries of {len(visits)} visits", scope, *(f"{found[one]} {one}" for one in found)])


if __name__ == "__main__":
    try:
        with open(sys.argv[1], "rb") as file:
            print("WHOLE:", check(json.load(file)))
    except (IndexError, OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        print(f"no record to check ({type(error).__name__}: {error})", file=sys.stderr)
        sys.exit(2)
