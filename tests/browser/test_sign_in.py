"""Who is at the tablet: signing in with and without the network, the lock, proved signatures, a removed tablet."""

import json
import subprocess
from contextlib import closing

import pytest

from chairapp.clinic import CLINIC_VISIT
from chairapp.people.demo import DEMO_PIN
from chairapp.people.proof import keys_in, proved
from sync.sql_devices import SqlDevices
from sync.sql_store import SqlStore
from tests.browser.chair import Chair
from tests.browser.conftest import until
from tests.browser.test_walk import to
from tests.browser.test_whole_visit import THREEMARK

MINUTE_MS = 60 * 1000
WRONG = "111111"


@pytest.fixture
def page(clinic, tablets):
    return tablets(viewport={"width": 1024, "height": 768}).open(f"{clinic}/chair")


@pytest.fixture
def hand(page):
    """At a tablet on which one clinician has signed in, the network on."""
    hand = Chair(page, {})
    hand.sign_in("clin-1")
    return hand


@pytest.fixture
def store(clinic_data, clinic):
    """The clinic server's own store."""
    with closing(SqlStore(f"sqlite:///{clinic_data / 'clinic.sqlite'}")) as store:
        yield store


def shift_clock(page, ms):
    """The tablet's clock, by so much away from the right time."""
    page.evaluate("(ms) => { globalThis.rightly ??= Date.now; Date.now = () => rightly() + ms; }", ms)


def offline(hand):
    hand.page.context.set_offline(True)
    hand.page.evaluate("import('tm_replica').then((replica) => replica.kick())")
    until(lambda: hand.page.evaluate("import('tm_state').then((page) => page.lamp.sync.online === false)"), "offline")


def on_the_tablet(hand):
    """The page itself is here: it may be loaded again without the network."""
    ready = "import('tm_state').then((page) => Boolean(page.lamp.release.offlineReady))"
    until(lambda: hand.page.evaluate(ready), "the page to be on the tablet")


def lock(hand):
    hand.page.locator(".strip .who").click()
    hand.page.locator(".lock").click()
    until(lambda: hand.author() is None, "the tablet to be locked")


def to_pin(hand, staff):
    hand.page.locator(f'[data-staff="{staff}"]').click()
    hand.page.locator(".pin-pad").wait_for()


def told(hand):
    return str(until(lambda: hand.page.locator("#pin-fault").inner_text(), "what is wrong"))


def sign(hand, role):
    hand.page.locator('.rail [data-step="review"]').click()
    hand.page.locator(f'.sign[data-role="{role}"]').click()
    return until(lambda: next((s for s in hand.settled()["signatures"] if s["role"] == role), None), "the signature")


def sent(hand):
    hand.page.context.set_offline(False)
    until(lambda: hand.pending() == 0, "everything to be at the clinic")


def test_another_person_signs_in_and_signs_without_the_network_and_the_server_finds_it_proved(hand, store, clinic):
    hand.sign_in("clin-2")
    lock(hand)
    offline(hand)
    to_pin(hand, "asst-1")
    hand.type_pin(DEMO_PIN)
    assert told(hand) == "You are new on this tablet. Sign in once with the network on; afterwards it works without."
    hand.page.locator(".pin-side .back").click()

    hand.sign_in("clin-1")
    visit = hand.open_visit("1")
    hand.sign_in("clin-2")
    assert hand.route()[1] == visit, "the place in the visit stays"
    made = sign(hand, "clinician")
    assert hand.settled()["signed"]
    sent(hand)
    entries = {entry["id"]: entry for entry in store.visit(visit)}
    signature = entries[made["id"]]
    keys = keys_in(store.visit(CLINIC_VISIT))
    assert (signature["author"], proved(signature, keys)) == ("clin-2", "proved")
    assert keys[signature["value"]["key"]].person == "clin-2"

    tampered = {**signature, "id": hand.page.evaluate("import('tm_replica').then(({uuid7}) => uuid7())")}
    tampered["value"] = {**signature["value"], "verdicts": {"lip": "fits"}}
    answer = hand.page.evaluate(ASK, ["/sync/entries", {"entries": [tampered, forged_key(signature)]}])
    assert [one["field"] for one in answer["refused"]] == ["value.proof", "visit"]


ASK = "([path, body]) => import('tm_replica').then(({ask}) => ask(path, {method: 'POST', body})).then((a) => a.value)"


def forged_key(like):
    """A key that a tablet says is somebody's."""
    value = {"person": "clin-1", "device": like["device"], "jwk": {}}
    return {**like, "id": like["id"][:-4] + "ffff", "visit": CLINIC_VISIT, "kind": "key", "item": "key", "value": value}


def test_wrong_pins_lock_for_longer_each_time_and_a_clock_set_back_does_not_unlock(hand):
    on_the_tablet(hand)
    lock(hand)
    offline(hand)
    to_pin(hand, "clin-1")
    for _ in range(4):
        hand.type_pin(WRONG)
        until(lambda: told(hand) == "This is not the PIN. Try again.", "the PIN to be refused")
        hand.page.locator(".key-k1").click()
        until(lambda: not hand.page.locator("#pin-fault").inner_text(), "a new try")
        hand.page.locator(".key-erase").click()
    hand.type_pin(WRONG)
    until(lambda: told(hand).startswith("Too many wrong PINs. The next try is in 0:"), "the wait")

    hand.page.reload()
    to_pin(hand, "clin-1")
    until(lambda: told(hand).startswith("Too many wrong PINs."), "the wait after a reload")
    shift_clock(hand.page, -600 * MINUTE_MS)
    left = hand.page.evaluate("import('tm_people').then((people) => people.waitOf('clin-1'))")
    assert 0 < left <= MINUTE_MS / 2
    refused = "import('tm_people').then((p) => p.signIn('clin-1', '%s', {device: ''})).then(({wait}) => wait)"
    assert hand.page.evaluate(refused % DEMO_PIN) > 0, "the right PIN does not help either"
    hand.page.locator(".pin-side .back").click()

    shift_clock(hand.page, 31 * 1000 - 600 * MINUTE_MS)
    hand.sign_in("clin-1")


def test_a_tablet_left_alone_locks_itself_and_what_was_typed_is_there_for_whoever_comes_next(hand):
    hand.open_visit("1")
    to(hand, "vertical", "vertical.rest")
    place = hand.page.evaluate("location.hash")
    hand.field.fill("70.5")
    code = hand.page.locator(".which .code").inner_text()
    shift_clock(hand.page, 11 * MINUTE_MS)
    hand.page.evaluate("dispatchEvent(new Event('pageshow'))")
    until(lambda: hand.author() is None, "the lock")
    shown = hand.page.locator(".chair").inner_text()
    assert "left alone" in shown
    assert code not in shown
    assert "vertical" not in shown.lower()
    assert not hand.field.is_visible()

    hand.sign_in("asst-1")
    assert hand.page.evaluate("location.hash") == place
    assert hand.field.input_value() == "70.5"
    hand.page.locator(".keypad .take").click()
    until(lambda: hand.settled()["items"]["vertical.rest"]["readings"], "the reading")
    assert hand.settled()["items"]["vertical.rest"]["readings"][0]["author"] == "asst-1"


def test_a_supervised_visit_gets_its_label_after_the_second_signature_on_the_same_tablet(hand, clinic_data, tmp_path):
    hand.sign_in("sup-1")
    hand.open_visit("1")
    hand.sign_in("clin-1")
    hand.page.locator('.rail [data-step="review"]').click()
    hand.page.locator('.sign[data-role="supervisor"]').wait_for()
    hand.sign_in("sup-1")
    sign(hand, "supervised")
    until(lambda: "second signature is still needed" in hand.page.locator(".signing").inner_text(), "what is missing")
    assert not hand.settled()["signed"]
    code = next(entry["value"]["box"] for entry in hand.entries() if entry["kind"] == "opened")
    sent(hand)
    assert label(code, clinic_data, tmp_path) == 1

    hand.page.locator(".change-person").click()
    hand.sign_in("clin-1")
    sign(hand, "supervisor")
    until(lambda: hand.settled()["signed"], "both signatures")
    sent(hand)
    assert label(code, clinic_data, tmp_path) == 0


def label(code, data, folder):
    command = [THREEMARK, "label", code, "--data", str(data), "--out", str(folder / "label.svg")]
    return subprocess.run(command, check=False, capture_output=True).returncode


def test_a_pin_changed_at_the_clinic_is_heard_at_the_next_contact_and_the_old_one_opens_nothing(hand):
    lock(hand)
    answer = {"error": {"field": "pin", "why": "This is not the PIN.", "do": "Try again."}}
    hand.page.context.route("**/people/enrol", lambda route: route.fulfill(status=403, json=answer))
    to_pin(hand, "clin-1")
    hand.type_pin(DEMO_PIN)
    until(lambda: "Your PIN was changed" in hand.page.locator(".chair").inner_text(), "the word of the change")
    assert hand.author() is None
    to_pin(hand, "clin-1")
    hand.type_pin(DEMO_PIN)
    assert told(hand) == "This is not the PIN. Try again."
    hand.page.context.unroute("**/people/enrol")
    hand.page.locator(".pin-side .back").click()
    hand.sign_in("clin-1")


def test_an_old_visit_that_is_no_longer_on_the_tablet_comes_back_by_its_box_code(hand):
    visit = hand.open_visit("1")
    to(hand, "lip", "lip.support")
    hand.choose("strained")
    entries = hand.entries()
    sent(hand)
    code = entries[0]["value"]["box"]
    hand.page.evaluate("location.hash = '#/'")
    gone = hand.page.evaluate(FORGET, [visit, len(entries), code])
    assert gone
    hand.page.reload()
    hand.page.locator(".older input").fill("ZZZZ")
    hand.page.locator(".older-open").click()
    until(lambda: "No older visit" in hand.page.locator(".older").inner_text(), "that no such box is known")
    hand.page.locator(".older input").fill(f"{code[:4]}-{code[4:]}".lower())
    hand.page.locator(".older-open").click()
    until(lambda: hand.route()[1:2] == [visit], "the visit")
    assert sorted(one["id"] for one in hand.entries()) == sorted(one["id"] for one in entries)


FORGET = """([visit, count, remembered]) => import('tm_replica_store')
  .then(({openStore}) => openStore('threemark', () => null))
  .then((store) => store.forget(visit, {node: null, count, remembered}))"""


def test_a_removed_tablet_hands_in_clears_itself_and_says_so(hand, store):
    offline(hand)
    visit = hand.open_visit("1")
    to(hand, "vertical", "vertical.rest")
    hand.field.fill("70.5")
    device = hand.page.evaluate("import('tm_replica').then(({device}) => device()).then(({device}) => device)")
    SqlDevices(store).revoke(device)
    hand.page.context.set_offline(False)
    hand.page.locator(".removed").wait_for()
    assert "handed in" in hand.page.locator(".removed").inner_text()
    assert hand.page.locator(".new-visit").count() == 0
    assert visit in {record.entry["visit"] for record in store.refused()}
    known = "import('tm_people').then((people) => people.knownIds()).then((ids) => ids.length)"
    until(lambda: hand.page.evaluate(known) == 0, "the people to be forgotten too")
    assert "70.5" not in hand.page.evaluate("JSON.stringify({...sessionStorage})")


def test_a_tablet_of_no_clinic_opens_no_visit_and_is_paired_by_the_code_of_a_symbol(clinic, tablets):
    tablet = tablets(viewport={"width": 1024, "height": 768})
    given = []

    def only_with_code(route):
        body = route.request.post_data_json
        given.append(body.pop("code", None))
        if given[-1]:
            route.continue_(post_data=json.dumps(body))
        else:
            route.fulfill(status=403, json={"error": {"field": "code", "why": "a code is needed", "do": ""}})

    tablet.context.route("**/pair", only_with_code)
    page = tablet.open(f"{clinic}/chair")
    page.locator(".pair-now").wait_for()
    assert page.locator(".new-visit, [data-staff]").count() == 0
    page.locator(".pair-now").click()
    until(lambda: "Type the code first." in page.locator(".pair").inner_text(), "what is missing")

    page.goto(f"{clinic}/chair#pair=7KQ4-M2X9")
    until(lambda: page.locator(".pairing-code").input_value() == "7KQ4-M2X9", "the code of the symbol")
    assert page.evaluate("location.hash") == "#/pair"
    page.locator(".tablet-name").fill("Chair 1")
    page.locator(".pair-now").click()
    page.locator("[data-staff]").first.wait_for()
    assert given[-1] == "7KQ4-M2X9"
