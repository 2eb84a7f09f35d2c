"""Box codes against ISO/IEC 7064 MOD 37-2 as python-stdnum implements it (stdnum.iso7064.mod_37_2)."""

import random

from stdnum.iso7064 import mod_37_2

from chairapp.box import code


def test_the_check_character_equals_the_reference_library_on_10_000_codes():
    draw = random.Random(37)
    for _ in range(10_000):
        made = code.new_code(draw.choice(code.ALPHABET), draw.choice)
        assert mod_37_2.is_valid(made)
        assert mod_37_2.calc_check_digit(made[:-1]) == made[-1]


def test_check_characters_outside_our_alphabet_agree_too():
    draw = random.Random(2)
    for _ in range(2_000):
        body = "".join(draw.choice(code.ALPHABET) for _ in range(7))
        assert mod_37_2.calc_check_digit(body) == code.check_character(body)
