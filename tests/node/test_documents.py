"""The clinic document and the sequence documents at both nodes."""

import hashlib

import pytest
import rfc8785


def test_both_nodes_serve_the_same_clinic_document(chair, clinic, tablet):
    documents = [tablet.get(node, "/sync/clinic").json() for node in (chair, clinic)]
    assert documents[0] == documents[1] == tablet.clinic
    assert set(documents[0]) >= {
        "version",
        "clinic",
        "time_zone",
        "label_address",
        "languages",
        "chairs",
        "staff",
        "sequence",
    }
    assert documents[0]["invented"] is True


def test_a_document_that_did_not_change_is_not_sent_again(chair, tablet):
    tag = tablet.get(chair, "/sync/clinic").headers["etag"]
    again = tablet.get(chair, "/sync/clinic", **{"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")


def test_a_sequence_document_has_the_digest_it_is_asked_by(chair, clinic, tablet):
    name = tablet.clinic["sequence"]
    for node in (chair, clinic):
        document = tablet.get(node, f"/sync/sequence/{name}").json()
        assert hashlib.sha256(rfc8785.dumps(document)).hexdigest() == name


def test_a_clinics_own_bands_reach_the_chair_node_and_its_earlier_sequence_stays(make_node, tmp_path):
    clinic = make_node("clinic").start()
    before = clinic.pair()
    clinic.end()
    ours = tmp_path / "ours.toml"
    ours.write_text('[items."display.rest"]\nband = [1, 4]\n')

    clinic.more = ("--sequence", str(ours))
    clinic.open_again()
    chair = make_node("chair", "--clinic", clinic.url).start()
    tablet = chair.pair()
    assert tablet.clinic["sequence"] != before.clinic["sequence"]
    assert tablet.clinic["version"] == before.clinic["version"] + 1
    document = tablet.get(chair, f"/sync/sequence/{tablet.clinic['sequence']}").json()
    (band,) = [item["band"] for step in document["steps"] for item in step["items"] if item["id"] == "display.rest"]
    assert band == [1, 4]
    assert tablet.get(clinic, f"/sync/sequence/{before.clinic['sequence']}").status_code == 200


@pytest.mark.parametrize("path", ["/sync/clinic", f"/sync/sequence/{'0' * 64}", "/sync/visits", "/sync/entries"])
def test_nothing_is_given_without_a_token(chair, clinic, path):
    for node in (chair, clinic):
        answer = node.http.get(path)
        assert answer.status_code == 401
        assert set(answer.json()["error"]) == {"field", "why", "do"}
        assert answer.headers["threemark-protocol"] == "1"


@pytest.mark.parametrize(("name", "status"), [("0" * 64, 404), ("..%2f..%2fkeys%2fdevices", 404), ("x", 400)])
def test_a_sequence_nobody_keeps_is_not_found_and_what_is_no_digest_is_refused(chair, tablet, name, status):
    answer = tablet.get(chair, f"/sync/sequence/{name}")
    assert answer.status_code == status


def test_every_answer_says_what_it_may_load_and_from_where(chair, clinic):
    """Nothing of another host; only the tablet page may call its clinic server."""
    own = f" {clinic.url} http://localhost:{clinic.port};"
    for path in ("/", "/label", "/ready", "/chair", "/nowhere"):
        policy = chair.http.get(path).headers["content-security-policy"]
        policy = policy.replace(own, ";") if path == "/chair" else policy
        assert "http:" not in policy
        assert "https:" not in policy
        assert "*" not in policy
        assert "frame-ancestors 'none'" in policy
