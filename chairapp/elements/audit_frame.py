"""The frame of the manager's pages: the ways between them stand on every one, whichever package makes it."""

from collections.abc import Iterator
from contextlib import contextmanager

from markupsafe import Markup

from chairapp.elements.frame import Frame, html

__all__ = ["AUDIT", "audit_page"]

AUDIT = "/audit"
_WAYS = (
    (AUDIT, "Visits"),
    ("/audit/figures", "Figures"),
    ("/audit/devices", "Tablets and nodes"),
    ("/audit/integrity", "Integrity"),
    ("/audit/export", "Export"),
    ("/audit/access", "Access log"),
    ("/audit/retention", "Retention"),
)


@contextmanager
def audit_page(frame: Frame, title: str, here: str = "") -> Iterator[None]:
    """A page of the audit; `here` is which of its ways is open."""
    with frame.page(title, AUDIT):
        html(_ways(here))
        yield


def _ways(here: str) -> Markup:
    ways = Markup("").join(
        Markup('<a href="{}"{}>{}</a>').format(way, Markup(' aria-current="page"') if way == here else "", name)
        for way, name in _WAYS
    )
    return Markup('<nav class="tm-ways-within" aria-label="Audit">{}</nav>').format(ways)
