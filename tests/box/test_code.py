"""Box codes: what is made, what is refused, what is suggested."""

import random

import pytest

from chairapp.box import code
from chairapp.box.errors import CodeError


@pytest.fixture(scope="module")
def codes():
    draw = random.Random(7)
    return [code.new_code(draw.choice(code.ALPHABET), draw.choice) for _ in range(1_000)]


def test_a_new_code_starts_with_the_letter_of_the_tablet_and_is_valid():
    made = [code.new_code("K") for _ in range(200)]
    assert all(c[0] == "K" and code.is_code(c) for c in made)
    assert len(set(made)) == 200


def test_no_single_wrong_character_passes(codes):
    missed = [
        (right, i, c)
        for right in codes
        for i in range(code.LENGTH)
        for c in code.ALPHABET
        if c != right[i] and code.is_code(right[:i] + c + right[i + 1 :])
    ]
    assert missed == []


def test_no_swap_of_neighbours_passes(codes):
    missed = []
    for right in codes:
        for i in range(code.LENGTH - 1):
            swapped = right[:i] + right[i + 1] + right[i] + right[i + 2 :]
            if swapped != right and code.is_code(swapped):
                missed.append((right, i))
    assert missed == []


def test_a_code_is_read_however_it_is_typed(codes):
    right = codes[0]
    for typed in (
        right,
        right.lower(),
        code.shown(right),
        f"  {right[:2]} {right[2:].lower()} ",
        f"{right[:4]} - {right[4:]}",
    ):
        assert code.parse(typed) == right


def test_it_is_shown_in_two_groups_of_four():
    assert code.shown("7KQ4M2X9") == "7KQ4-M2X9"


def test_a_slip_is_refused_with_the_known_code_suggested_and_never_corrected(codes):
    right = codes[3]
    wrong = right[:5] + ("2" if right[5] != "2" else "3") + right[6:]
    with pytest.raises(CodeError, match="look again; did you mean") as caught:
        code.parse(wrong, codes)
    assert caught.value.suggestions == (right,)
    assert code.shown(right) in str(caught.value)


@pytest.mark.parametrize(
    "slip",
    [
        lambda c: c[:-1],
        lambda c: c[:3] + "K" + c[3:],
        lambda c: c[1] + c[0] + c[2:],
        lambda c: c.replace(c[4], "O", 1),
    ],
    ids=["a character missing", "a character too many", "neighbours swapped", "a letter that does not occur"],
)
def test_every_kind_of_slip_finds_the_code_meant(codes, slip):
    right = next(c for c in codes if c[0] != c[1] and c[3] != "K")
    with pytest.raises(CodeError) as caught:
        code.parse(slip(right), codes)
    assert right in caught.value.suggestions


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "is empty"),
        ("7KQ4", "has 4 characters"),
        ("7KQ4-M2A9", "has A in it"),
        ("../../etc", "or / or E in it"),
        ("🦷🦷🦷🦷🦷🦷🦷🦷", "has 🦷 in it"),
    ],
)
def test_what_is_no_code_is_refused_in_one_line(typed, says):
    with pytest.raises(CodeError) as caught:
        code.parse(typed)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("letter", ["", "A", "k", "KK", "0"])
def test_a_letter_outside_the_alphabet_makes_no_code(letter):
    with pytest.raises(CodeError, match="tablet letter"):
        code.new_code(letter)
