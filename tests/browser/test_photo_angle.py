"""Angles measured on photographs: how they are reckoned; a picture gives a reading and leaves nothing behind."""

import base64
import cmath
import io
import itertools
import math
import random
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from chairapp.elements import chair
from tests.browser.chair import Chair
from tests.browser.conftest import until

MODULE = (Path(chair.__file__).parent / "tm_angle.js").read_bytes()
IMPORT = f"import('data:text/javascript;base64,{base64.b64encode(MODULE).decode()}')"
LINE = f"(all) => {IMPORT}.then((angle) => all.map(angle.lineAngle))"
CORNER = f"(all) => {IMPORT}.then((angle) => all.map(angle.cornerAngle))"
WIDTH, HEIGHT = 1200, 900
TILTS = (-40, -3.5, -0.1, 0, 0.1, 2, 4.5, 40)


def front(tilt: float, turn: float = 0, mirrored: bool = False) -> list[tuple[float, float]]:
    """Right and left pupil, right and left of the rim, as on a picture (y down); `tilt` is + when the right is lower.

    The patient's right is on the left of an unmirrored picture. `turn`: the camera's own, degrees.
    """
    pupils = [-200 + 0j, 200 + 0j]
    rim = [250j + end * 90 * cmath.exp(-1j * math.radians(tilt)) for end in (-1, 1)]
    points = [(z * cmath.exp(1j * math.radians(turn))) for z in pupils + rim]
    return [(WIDTH / 2 + (-1 if mirrored else 1) * z.real, HEIGHT / 3 + z.imag) for z in points]


def test_a_rim_lower_on_the_right_is_positive_and_a_mirrored_picture_says_the_same(tablets):
    page = tablets().open("about:blank")
    cases = list(itertools.product(TILTS, (-80, -30, 0, 7, 80), (False, True)))
    told = page.evaluate(LINE, [front(*case) for case in cases])
    assert told == [pytest.approx(tilt, abs=1e-9) for tilt, _, _ in cases]


def test_the_reckoning_is_the_one_of_complex_numbers_for_any_points(tablets):
    page = tablets().open("about:blank")
    seeded = random.Random(6)
    cases = [[[seeded.uniform(0, 4000), seeded.uniform(0, 3000)] for _ in range(4)] for _ in range(1000)]
    assert page.evaluate(LINE, cases) == [pytest.approx(by_phase(case), abs=1e-9) for case in cases]


def by_phase(points: list[list[float]]) -> float:
    a, b, c, d = (complex(*point) for point in points)
    turned = math.degrees(cmath.phase((d - c) / (b - a)))
    return -turned if (b - a).real > 0 else turned


@pytest.mark.parametrize("angle", [0.5, 45, 90, 104, 135, 180])
def test_a_corner_is_the_same_however_the_picture_lies(tablets, angle):
    page = tablets().open("about:blank")
    corners = []
    for turn, way in itertools.product(range(0, 360, 30), (-1, 1)):
        ends = [50 * cmath.exp(1j * math.radians(turn + way * part)) for part in (0, angle)]
        corners.append([(100 + z.real, 100 + z.imag) for z in (ends[0], 0j, ends[1])])
    assert page.evaluate(CORNER, corners) == [pytest.approx(angle, abs=1e-6)] * len(corners)


def test_points_on_one_spot_and_an_upright_reference_give_no_angle(tablets):
    page = tablets().open("about:blank")
    assert page.evaluate(LINE, [[[1, 1], [1, 1], [0, 5], [9, 5]], [[3, 0], [3, 9], [0, 5], [9, 5]]]) == [None, None]
    assert page.evaluate(CORNER, [[[1, 1], [1, 1], [4, 4]]]) == [None]


def drawn(points: list[tuple[float, float]], exif_orientation: int = 1) -> bytes:
    """A picture as a camera gives it: the four points joined by lines; oriented as the EXIF tag says."""
    picture = Image.new("RGB", (WIDTH, HEIGHT), "#cfae9c")
    pen = ImageDraw.Draw(picture)
    pen.line(points[:2], "white", 4)
    pen.line(points[2:], "black", 4)
    exif = Image.Exif()
    exif[0x0112] = exif_orientation
    if exif_orientation == 6:  # the camera was held upright: shown a quarter turn clockwise of what is stored
        picture = picture.transpose(Image.Transpose.ROTATE_90)
    out = io.BytesIO()
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


def to_photo(hand: Chair, step: str, item: str) -> None:
    visit = hand.route()[1]
    hand.page.evaluate(f"location.hash = '#/walk/{visit}/{step}/{item}'")
    hand.page.locator(f'[data-item="{item}"] .photo-open').click()


def give(hand: Chair, content: bytes, name: str = "face.jpg", kind: str = "image/jpeg") -> None:
    files = [{"name": name, "mimeType": kind, "buffer": content}]
    hand.page.locator("input.photo-file").set_input_files(files)


def tap(hand: Chair, points: list[tuple[float, float]]) -> None:
    """The points one after another, where the picture shows them."""
    box = hand.page.locator("canvas.picture").bounding_box()
    scale = min(box["width"] / WIDTH, box["height"] / HEIGHT)
    left, top = (box["width"] - WIDTH * scale) / 2, (box["height"] - HEIGHT * scale) / 2
    for x, y in points:
        hand.page.mouse.click(box["x"] + left + x * scale, box["y"] + top + y * scale)


def angle(hand: Chair) -> float:
    text = until(lambda: hand.page.locator(".photo-take .figure").inner_text(), "the angle")
    return float(text.replace("−", "-").removesuffix("°"))


def read_values(hand):
    """The values of the readings of the tilt, as they were judged last."""
    return [reading["value"] for reading in hand.settled()["items"]["plane.front"]["readings"]]


@pytest.mark.parametrize(("tilt", "mirrored", "exif"), [(4, False, 1), (-3, True, 1), (4, False, 6)])
def test_a_photograph_gives_a_reading_of_the_angle_on_it(hand, tilt, mirrored, exif):
    points = front(tilt, 5, mirrored)
    to_photo(hand, "plane", "plane.front")
    give(hand, drawn(points, exif))
    tap(hand, points)
    shown = angle(hand)
    assert shown == pytest.approx(tilt, abs=0.6), "a tap is as fine as a pixel of the screen"
    hand.page.locator(".photo-take").click()
    until(lambda: hand.page.locator(".reading .from-photo").count() == 1, "the reading, marked as from a photograph")
    (entry,) = [entry for entry in hand.entries() if entry["kind"] == "reading"]
    assert entry["value"] == {"photo": shown}
    until(lambda: read_values(hand) == [shown], "the reading to be judged")

    hand.withdraw_last_reading()
    hand.page.locator(".undo button").click()
    until(lambda: hand.page.locator(".reading .from-photo").count() == 1, "the reading put back as what it was")


def test_points_are_set_in_any_order_and_moved_by_keys(hand):
    points = front(0)
    to_photo(hand, "plane", "plane.front")
    give(hand, drawn(points))
    for i in (3, 2, 1, 0):
        hand.page.locator(".photo-point").nth(i).click()
        tap(hand, [points[i]])
    assert angle(hand) == pytest.approx(0, abs=0.6)
    before = angle(hand)
    hand.page.locator(".photo-point").nth(2).click()
    for _ in range(5):
        hand.page.locator(".nudge-down").click()
    assert angle(hand) == pytest.approx(before + math.degrees(math.atan2(6, 180)), abs=0.11), "five times 1.2 pixels"
    hand.page.locator("canvas.picture").focus()
    for _ in range(5):
        hand.page.keyboard.press("ArrowUp")
    assert angle(hand) == before


def test_a_picture_on_its_side_is_told_and_can_be_turned(hand):
    points = front(4)
    to_photo(hand, "plane", "plane.front")
    stored = Image.open(io.BytesIO(drawn(points))).transpose(Image.Transpose.ROTATE_90)
    out = io.BytesIO()
    stored.save(out, "PNG")
    give(hand, out.getvalue(), "face.png", "image/png")
    hand.page.locator(".photo-turn").click()
    tap(hand, points)
    assert angle(hand) == pytest.approx(4, abs=0.6)
    hand.page.locator(".photo-turn").click()
    until(lambda: "side" in hand.page.locator(".photo-result").inner_text(), "the picture said to lie on its side")
    assert hand.page.locator(".photo-take").count() == 0
    for _ in range(3):
        hand.page.locator(".photo-turn").click()
    assert angle(hand) == pytest.approx(4, abs=0.6)


def test_the_nasolabial_angle_takes_three_points(hand):
    to_photo(hand, "lip", "lip.nasolabial")
    corner = [(500.0, 300.0), (400.0, 300.0), (400 + 100 * math.cos(math.radians(104)), 300 + 97.0)]
    give(hand, drawn(front(0)))
    tap(hand, corner)
    assert angle(hand) == pytest.approx(104, abs=1.5)


@pytest.mark.parametrize(
    ("content", "name", "kind", "said"),
    [
        (b"%PDF-1.7", "letter.pdf", "application/pdf", "cannot read"),
        (b"no picture at all", "face.jpg", "image/jpeg", "cannot read"),
        (b"", "face.jpg", "image/jpeg", "cannot read"),
        (drawn(front(0))[:300], "cut.jpg", "image/jpeg", "cannot read"),
    ],
)
def test_what_is_no_picture_is_refused_in_one_sentence(hand, content, name, kind, said):
    to_photo(hand, "plane", "plane.front")
    give(hand, content, name, kind)
    assert said in until(lambda: hand.page.locator(".photo-ask .fault").inner_text(), "what is wrong")
    assert hand.page.locator("canvas.picture").count() == 0


def test_a_picture_that_would_fill_the_memory_is_refused_before_it_is_unfolded(hand):
    out = io.BytesIO()
    Image.new("1", (9000, 9000)).save(out, "PNG")
    assert len(out.getvalue()) < 50_000
    to_photo(hand, "plane", "plane.front")
    give(hand, out.getvalue(), "huge.png", "image/png")
    assert "too large" in until(lambda: hand.page.locator(".photo-ask .fault").inner_text(), "what is wrong")


KEPT = """async () => {
  const done = (request) => new Promise((tell) => (request.onsuccess = () => tell(request.result)));
  const kept = [];
  for (const {name} of await indexedDB.databases()) {
    const db = await done(indexedDB.open(name));
    for (const store of db.objectStoreNames) kept.push(await done(db.transaction(store).objectStore(store).getAll()));
    db.close();
  }
  return JSON.stringify([kept, {...localStorage}, {...sessionStorage}]);
}"""


def test_the_picture_is_neither_stored_nor_sent_and_is_gone_when_closed(hand):
    sent = []
    hand.page.on("request", lambda request: sent.append((request.method, request.url, request.post_data or "")))
    points = front(2)
    to_photo(hand, "plane", "plane.front")
    give(hand, drawn(points))
    tap(hand, points)
    hand.page.locator(".photo-take").click()
    # `pending` asks the page: without a question to it no news of its requests comes in.
    until(lambda: hand.pending() == 0 and any('"photo"' in body for _, _, body in sent), "the reading to be sent")
    assert all(len(body) < 4000 for _, _, body in sent)
    kept = hand.page.evaluate(KEPT)
    assert '"photo"' in kept
    assert "image/jpeg" not in kept
    assert "data:image" not in kept

    hand.page.locator(".photo-open").click()
    assert hand.page.locator("canvas.picture").count() == 0


def test_a_picture_goes_with_the_visit_only_when_it_is_kept_and_carries_nothing_the_camera_wrote(hand):
    points = front(2)
    to_photo(hand, "plane", "plane.front")
    give(hand, drawn(points))
    hand.page.locator(".photo-keep").click()
    until(lambda: hand.page.locator(".photo-kept").count(), "the picture kept")
    hand.page.locator(".photo-close").first.click()
    (entry,) = [entry for entry in hand.entries() if entry["kind"] == "attachment"]
    assert entry["item"] == "plane.front"
    assert entry["value"]["type"] == "image/jpeg"
    until(lambda: hand.pending() == 0, "entry and picture to be at the node")

    sent = base64.b64decode(hand.page.evaluate(BYTES, entry["value"]["sha256"]))
    assert len(sent) == entry["value"]["bytes"] <= 2 * 1024 * 1024
    picture = Image.open(io.BytesIO(sent))
    assert picture.size == (WIDTH, HEIGHT)
    assert dict(picture.getexif()) == {}

    hand.page.locator(".kept-picture").click()
    until(lambda: hand.page.locator("img.picture").evaluate("(one) => one.naturalWidth") == WIDTH, "the picture shown")
    withdrawn_seen_and_kept_again(hand, entry)


def withdrawn_seen_and_kept_again(hand, entry):
    """A picture that was withdrawn is out of the list, is still looked at in its history, and can be kept again."""
    hand.page.locator("dialog[open] .photo-close").click()
    hand.page.locator(".picture-withdraw").click()
    hand.page.locator(".pictures-withdrawn").click()
    assert hand.page.locator(".pictures .kept-picture").count() == 1
    assert "Withdrawn" in hand.page.locator(".is-withdrawn").inner_text()
    (withdrawal,) = [one for one in hand.entries() if one["kind"] == "withdrawal"]
    assert (withdrawal["of"], withdrawal["item"]) == (entry["id"], "plane.front")
    until(lambda: hand.settled()["unknown"] == [] and hand.pending() == 0, "the withdrawal to be understood and sent")

    hand.page.locator(".is-withdrawn .kept-picture").click()
    until(lambda: hand.page.locator("img.picture").evaluate("(one) => one.naturalWidth") == WIDTH, "its history shown")
    hand.page.locator("dialog[open] .photo-close").click()
    hand.page.locator(".picture-put-back").click()
    hand.page.locator(".picture-withdraw").wait_for()
    assert hand.page.locator(".picture-put-back").count() == 0


BYTES = """(sha256) => import('tm_replica').then((replica) => replica.getBlob(sha256)).then(({data}) =>
    btoa([...new Uint8Array(data)].map((byte) => String.fromCharCode(byte)).join('')))"""


def test_a_picture_too_large_to_be_kept_is_made_coarser_then_smaller(hand):
    sizes = hand.page.evaluate(
        """async () => {
          const {jpegOf} = await import('tm_picture');
          const canvas = Object.assign(document.createElement('canvas'), {width: 1200, height: 800});
          const pen = canvas.getContext('2d'), noise = pen.createImageData(1200, 800);
          let seed = 7;
          for (let i = 0; i < noise.data.length; i++) noise.data[i] = (seed = (seed * 48271) % 2147483647) & 255;
          pen.putImageData(noise, 0, 0);
          return Promise.all([2e6, 4e5, 1e5].map(async (most) => {
            const blob = await jpegOf(canvas, most), {width} = await createImageBitmap(blob);
            return [most, blob.size, width];
          }));
        }"""
    )
    assert all(size <= most for most, size, _ in sizes)
    widths = [width for _, _, width in sizes]
    assert widths[0] == 1200 > widths[1] > widths[2]


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (768, 1024), (390, 844)])
def test_the_keys_of_the_photograph_are_large_and_all_of_it_is_on_the_screen(hand, width, height):
    hand.page.set_viewport_size({"width": width, "height": height})
    points = front(1)
    to_photo(hand, "plane", "plane.front")
    give(hand, drawn(points))
    tap(hand, points)
    angle(hand)
    for key in hand.page.locator(".nudges .key").all():
        box = key.bounding_box()
        assert min(box["width"], box["height"]) >= 64
    for target in hand.page.locator(".photo-desk button, canvas.picture").all():
        box = target.bounding_box()
        assert box["height"] >= 44
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
        assert box["y"] + box["height"] <= height, target.inner_text()
