"""The full record is re-checked by a file that needs nothing of ours, and every kind of tampering is named."""

import copy
import io
import json
import random
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric import ec, utils
from cryptography.hazmat.primitives.hashes import SHA256

from chairapp.clinic import CLINIC_VISIT
from chairapp.export import verify_record
from chairapp.export.record_file import write_record
from chairapp.export.source import Source
from chairapp.people.proof import message, thumbprint
from sync.entry import Stamper
from sync.sql_store import SqlStore
from sync.tiny_store import TinyStore
from tests.export.conftest import DIGEST, DOC, MADE, fill, later, visits

VERIFIER = Path(verify_record.__file__)


def record_of(source):
    file = io.BytesIO()
    write_record(source, file, [(DIGEST, DOC)], MADE)
    return json.loads(file.getvalue())


@pytest.fixture(scope="module")
def proved(tmp_path_factory):
    """The demo's visits, one more of them signed with a key the clinic knows, another with an attachment."""
    store = SqlStore(f"sqlite:///{tmp_path_factory.mktemp('proved')}/clinic.sqlite")
    made = fill(store)
    key = ec.generate_private_key(ec.SECP256R1())
    jwk = _jwk(key)
    store.add([Stamper("node-1").entry(CLINIC_VISIT, "key", author="clin-1", value=_named(jwk))])
    store.add([_signed_with(key, jwk, made[2])])
    yield Source(store, {DIGEST: DOC}.get)
    store.close()


def _named(jwk):
    return {"person": "clin-1", "device": "tablet-1", "jwk": jwk}


def _jwk(key):
    numbers = key.public_key().public_numbers()
    x, y = (_base64url(number.to_bytes(32)) for number in (numbers.x, numbers.y))
    return {"kty": "EC", "crv": "P-256", "x": x, "y": y}


def _base64url(data):
    import base64

    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def _signed_with(key, jwk, entries):
    from chairapp.sequence.view import to_sign
    from sync.seal import digest

    covered = to_sign(DOC, entries)
    value = {"role": "clinician", "covers": covered["covers"], "digest": digest(covered["entries"])}
    value |= {"verdicts": {}, "judge": "1", "key": thumbprint(jwk)}
    entry = later(entries, "tablet-1").entry(
        entries[0]["visit"], "signature", author="clin-1", item="review", value=value
    )
    r, s = utils.decode_dss_signature(key.sign(message(entry), ec.ECDSA(SHA256())))
    entry["value"]["proof"] = _base64url(r.to_bytes(32) + s.to_bytes(32))
    return entry


def check(record):
    return verify_record.check(copy.deepcopy(record))


def test_a_full_record_is_whole_and_its_signatures_hold_and_are_proved(proved):
    said = check(record_of(proved))
    assert "chain whole to" in said
    assert "1 signatures proved" in said
    assert re.search(r"\b[1-9]\d* signatures hold", said)


def test_the_record_of_one_visit_is_whole_by_itself(proved):
    code = next(iter(visits()))[0]["value"]["box"]
    record = record_of(replace(proved, code=code))
    assert len({row["entry"]["visit"] for row in record["entries"]}) == 1
    assert "every link of the chain holds" in check(record)


def test_the_command_says_so_with_its_exit_code_and_imports_nothing_of_ours(proved, tmp_path):
    good, bad, none = tmp_path / "good.json", tmp_path / "bad.json", tmp_path / "none.json"
    record = record_of(proved)
    good.write_text(json.dumps(record))
    record["entries"][5]["entry"]["value"] = "another"
    bad.write_text(json.dumps(record, indent=1))
    none.write_text("[1]")
    found = {}
    for file in (good, bad, none):
        # -I: neither this folder nor the environment is looked at, as on a machine without the program.
        ran = subprocess.run([sys.executable, "-I", VERIFIER, file], capture_output=True, text=True, cwd=tmp_path)
        found[file.stem] = (ran.returncode, (ran.stdout + ran.stderr).split(":")[0].split("(")[0].strip())
    assert found == {"good": (0, "WHOLE"), "bad": (1, "NOT WHOLE"), "none": (2, "no record to check")}


def test_the_verifier_is_short_and_imports_the_standard_library_alone():
    source = VERIFIER.read_text()
    assert len(source.splitlines()) < 150
    imported = set(re.findall(r"^(?: {4})?(?:import|from) (\w+)", source, re.M))
    assert imported - sys.stdlib_module_names == {"cryptography"}


def test_every_row_stands_on_a_line_of_its_own_with_the_exact_bytes_of_its_entry(proved):
    file = io.BytesIO()
    write_record(proved, file, [(DIGEST, DOC)], MADE)
    by_id = {entry["id"]: entry for visit in proved.each() for entry in visit.entries}
    seen = 0
    for line in file.getvalue().splitlines():
        if line.startswith(b'{"position"'):
            row = json.loads(line.rstrip(b","))
            assert rfc8785.dumps(row["entry"]) in line
            seen += by_id.get(row["entry"]["id"]) == row["entry"]
    assert seen == len(by_id)


# ---- tampering


def _value(record):
    _reading(record)["entry"]["value"] = 99


def _reading(record):
    return next(row for row in record["entries"] if row["entry"]["kind"] == "reading" and not row.get("bare"))


def _author(record):
    _reading(record)["entry"]["author"] = "clin-9"


def _time(record):
    _reading(record)["entry"]["at"] = "2001-01-01T00:00:00Z"


def _dropped(record):
    del record["entries"][7]
    record["end"]["entries"] -= 1


def _dropped_from_the_end(record):
    record["entries"].remove(max(record["entries"], key=lambda row: row["position"]))
    record["end"]["entries"] -= 1


def _put_in(record):
    row = copy.deepcopy(record["entries"][7])
    row["entry"]["id"], row["position"] = row["entry"]["id"][:-1] + "0", len(record["entries"]) + 1
    record["entries"].append(row)
    record["end"]["entries"] += 1


def _twice(record):
    record["entries"].append(copy.deepcopy(record["entries"][7]))
    record["end"]["entries"] += 1


def _swapped(record):
    one, two = record["entries"][3], record["entries"][4]
    one["entry"], two["entry"] = two["entry"], one["entry"]


def _hash(record):
    record["entries"][9]["hash"] = "0" * 64


def _forged_on(record):
    """An entry changed and every hash after it made anew, but for the head."""
    _forge(record)


def _forge(record):
    signed = {row["entry"]["visit"] for row in record["entries"] if row["entry"]["kind"] == "signature"}
    rows = [row for row in record["entries"] if row["entry"]["visit"] in signed]
    next(row for row in rows if row["entry"]["kind"] == "reading")["entry"]["value"] = 99
    before = verify_record.sha("threemark chain 1 start\n" + record["chain"]["epoch"]).hexdigest()
    for row in sorted(record["entries"], key=lambda row: row["position"]):
        leaf = verify_record.leaf(row["entry"], bool(row.get("bare")))
        made = b"threemark chain 1 link\n" + bytes.fromhex(before) + row["position"].to_bytes(8, "big") + leaf
        before = row["hash"] = verify_record.sha(made).hexdigest()
    return before


def _mended_by_a_before(record):
    """A link cannot be mended by claiming another hash before it."""
    row = record["entries"][9]
    row["before"] = record["entries"][2]["hash"]
    leaf = verify_record.leaf(row["entry"], False)
    made = b"threemark chain 1 link\n" + bytes.fromhex(row["before"]) + row["position"].to_bytes(8, "big") + leaf
    row["hash"] = verify_record.sha(made).hexdigest()


def _forged_with_the_head(record):
    """All of the chain made anew: only what people signed is left to tell."""
    record["chain"]["hash"] = _forge(record)


def _head(record):
    record["chain"]["hash"] = "0" * 64


def _shorter_head(record):
    record["chain"]["position"] -= 1


def _other_epoch(record):
    record["chain"]["epoch"] = "0" * 32


def _sequence(record):
    record["sequences"][0]["document"]["bands"]["interocclusal_distance"] = [0, 9]


def _signature_digest(record):
    _signature(record)["value"]["digest"] = "0" * 64


def _signature(record, proved=False):
    rows = [row["entry"] for row in record["entries"] if row["entry"]["kind"] == "signature"]
    return next(entry for entry in rows if ("proof" in entry["value"]) == proved)


def _proof(record):
    value = _signature(record, proved=True)["value"]
    value["proof"] = value["proof"][:-4] + ("AAAA" if value["proof"][-4:] != "AAAA" else "BBBB")


def _signed_by_another(record):
    _signature(record, proved=True)["author"] = "clin-2"


def _key_of_another(record):
    record["keys"][0]["person"] = "clin-2"


def _erased_unsaid(record):
    row = _reading(record)
    digest = verify_record.sha(verify_record.canonical(row["entry"]["value"])).hexdigest()
    row["entry"]["value"], row["bare"] = {"erased": digest}, True


TAMPERING = [one for name, one in list(globals().items()) if name in {
    "_value", "_author", "_time", "_dropped", "_dropped_from_the_end", "_put_in", "_twice", "_swapped", "_hash",
    "_forged_on", "_mended_by_a_before", "_forged_with_the_head", "_head", "_shorter_head", "_other_epoch", "_sequence",
    "_signature_digest", "_proof", "_signed_by_another", "_key_of_another", "_erased_unsaid",
}]  # fmt: skip


@pytest.mark.parametrize("tamper", TAMPERING, ids=lambda tamper: tamper.__name__.strip("_"))
def test_tampering_is_noticed_and_named(proved, tamper):
    record = record_of(proved)
    before = copy.deepcopy(record)
    tamper(record)
    assert record != before
    with pytest.raises(SystemExit, match=r"NOT WHOLE: \w+"):
        check(record)


def test_every_flipped_entry_is_noticed_in_the_record_of_one_visit_too(proved):
    record = record_of(replace(proved, visit=next(iter(visits()))[0]["visit"]))
    draw = random.Random(8)
    for place in draw.sample(range(len(record["entries"])), 25):
        broken = copy.deepcopy(record)
        broken["entries"][place]["entry"]["author"] += "x"
        with pytest.raises(SystemExit, match="NOT WHOLE"):
            check(broken)


def test_an_attachment_comes_with_the_record_and_other_bytes_are_noticed(source, tmp_path):
    import hashlib

    from sync.blobs import FolderBlobs

    blobs, store = FolderBlobs(tmp_path / "blobs"), TinyStore(tmp_path / "node")
    data, entries = b"a picture", next(iter(visits()))
    name = hashlib.sha256(data).hexdigest()
    blobs.put(name, data)
    store.add(entries)
    value = {"sha256": name, "type": "image/jpeg", "bytes": len(data)}
    store.add([later(entries).entry(entries[0]["visit"], "attachment", author="clin-1", item="display", value=value)])
    record = record_of(replace(source, store=store, blobs=blobs))
    store.close()
    assert "chain whole" in check(record)
    record["attachments"][0]["base64"] = "AAAA"
    with pytest.raises(SystemExit, match="attachment"):
        check(record)


def test_the_chain_is_walked_over_visits_that_were_let_go_of(tmp_path):
    store = TinyStore(tmp_path / "node")
    made = fill(store)
    store.purge([made[3][0]["visit"]])
    record = record_of(Source(store, {DIGEST: DOC}.get))
    store.close()
    assert record["purged"]
    assert "chain whole" in check(record)
    record["purged"][0]["leaf"] = "0" * 64
    with pytest.raises(SystemExit, match="NOT WHOLE"):
        check(record)


def test_an_entry_that_comes_while_the_export_runs_belongs_to_the_next_one(tmp_path):
    store = TinyStore(tmp_path / "node")
    made = list(visits())
    for entries in made[:4]:
        store.add(entries)

    def meanwhile(done, _of):
        if done == 1:
            store.add(made[4])
            store.add([later(made[0]).entry(made[0][0]["visit"], "note", author="clin-1", item="lip", value="late")])
        return True

    file = io.BytesIO()
    write_record(Source(store, {DIGEST: DOC}.get), file, [(DIGEST, DOC)], MADE, meanwhile)
    store.close()
    record = json.loads(file.getvalue())
    assert "chain whole" in check(record)
    assert record["end"]["entries"] == sum(map(len, made[:4]))


@pytest.mark.parametrize("seed", range(4))
def test_the_verifiers_own_canonical_form_is_that_of_rfc_8785(seed):
    draw = random.Random(seed)
    numbers = [draw.uniform(-100, 100) for _ in range(300)]
    numbers += [draw.uniform(-1, 1) * 10.0 ** draw.randint(-30, 30) for _ in range(1500)]
    numbers += [step / 8 for step in range(-40, 41)] + [0.0, -0.0, 1e21, 1e20, 1e-6, 1e-7, 5e-324, 123456789012345.0]
    for number in numbers:
        assert verify_record.canonical(number).encode() == rfc8785.dumps(number), number
    texts = ["\u20ac", "\r", "\U0001f9b7", "\ufb33", "1", "\x80", "\x7f", "\x1f", '"\\/', "\u2028"]
    draw.shuffle(texts)
    thing = {text: [{text: None, "a": True}, number] for text, number in zip(texts, numbers, strict=False)}
    assert verify_record.canonical(thing).encode() == rfc8785.dumps(thing)
