"""What a node does with a signature that comes in."""

import pytest

from chairapp.people.demo import demo_clinic
from chairapp.people.signing import refused_signature
from tests.people.test_proof import KEYS, MINE, signed

CLINIC = demo_clinic("0" * 64, "127.0.0.1:8080")


def by(author, role):
    return signed(MINE, author=author) | {"value": {"role": role}}


def test_a_false_proof_is_refused_naming_the_field():
    refusal = refused_signature(signed(MINE, digest="e" * 64), CLINIC, KEYS)
    assert refusal is not None
    assert refusal.field == "value.proof"


def test_a_signature_is_kept_whether_its_key_has_come_or_not():
    assert refused_signature(signed(MINE), CLINIC, KEYS) is None
    assert refused_signature(signed(MINE), CLINIC, {}) is None
    assert refused_signature(by("clin-1", "clinician"), None, {}) is None


@pytest.mark.parametrize(
    ("author", "role", "taken"),
    [
        ("clin-1", "clinician", True),
        ("clin-1", "supervisor", True),
        ("sup-1", "supervised", True),
        ("sup-1", "clinician", False),
        ("sup-1", "supervisor", False),
        ("asst-1", "clinician", False),
        ("mgr-1", "supervisor", False),
        ("somebody-new", "clinician", True),
    ],
)
def test_nobody_signs_above_what_they_are_at_the_clinic(author, role, taken):
    refusal = refused_signature(by(author, role), CLINIC, {})
    assert (refusal is None) is taken


def test_a_signature_of_no_shape_is_left_to_the_check_of_shapes():
    assert refused_signature(signed(MINE) | {"value": None}, CLINIC, KEYS) is None
