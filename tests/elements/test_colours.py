"""Every text is told from its ground at 7:1, every edge of a control at 3:1 (WCAG 2.2)."""

import re
from pathlib import Path

import pytest

from chairapp.elements import chair

BASE = (Path(chair.__file__).parent / "base.css").read_text("utf-8")
COLOURS = dict(re.findall(r"--tm-([a-z-]+): (#[0-9a-f]{6});", BASE))
VERDICTS = ["open", "stale", "unsure", "off", "fits", "accepted"]
TEXTS = [
    *[(ink, ground) for ink in ("ink", "soft") for ground in ("paper", "card")],
    *[(ink, f"{verdict}-tint") for verdict in VERDICTS for ink in ("ink", "soft", verdict)],
    *[(verdict, "card") for verdict in VERDICTS],
    ("on-accent", "accent"),
    ("accent", "card"),
    ("accent", "paper"),
    ("ink", "accent-soft"),
    ("soft", "accent-soft"),
]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21. Source: WCAG 2.2, relative luminance."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(("ink", "ground"), TEXTS)
def test_text_is_told_from_its_ground(ink, ground):
    assert contrast(COLOURS[ink], COLOURS[ground]) >= 7


@pytest.mark.parametrize(
    ("edge", "ground"), [("edge", "paper"), ("edge", "card"), ("focus", "paper"), ("focus", "card")]
)
def test_a_control_is_told_from_its_ground(edge, ground):
    assert contrast(COLOURS[edge], COLOURS[ground]) >= 3


def test_black_on_white_is_21_to_1():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
