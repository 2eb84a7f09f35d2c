"""Box codes made on the tablet are those the server makes and checks."""

import base64
import random
from pathlib import Path

from chairapp.box.code import ALPHABET, check_character, is_code, shown
from chairapp.elements import chair

MODULE = (Path(chair.__file__).parent / "tm_box_code.js").read_bytes()
IMPORT = f"import('data:text/javascript;base64,{base64.b64encode(MODULE).decode()}')"


def test_the_tablet_and_the_server_agree_on_a_thousand_codes_and_on_a_thousand_slips(tablets):
    page = tablets().open("about:blank")
    seeded = random.Random(37)
    bodies = ["".join(seeded.choices(ALPHABET, k=7)) for _ in range(1000)]
    checks = page.evaluate(f"(all) => {IMPORT}.then((box) => all.map(box.checkCharacter))", bodies)
    assert checks == [check_character(body) for body in bodies]

    slips = [body + seeded.choice(ALPHABET) for body in bodies]
    told = page.evaluate(f"(all) => {IMPORT}.then((box) => all.map(box.isCode))", slips)
    assert told == [is_code(slip) for slip in slips]
    assert any(told)

    made = page.evaluate(f"() => {IMPORT}.then((box) => Array.from({{length: 1000}}, () => box.newCode('K')))")
    assert all(code.startswith("K") and is_code(code) for code in made)
    assert len(set(made)) == len(made)
    assert page.evaluate(f"(code) => {IMPORT}.then((box) => box.shownCode(code))", made[0]) == shown(made[0])
