"""The frame of the tablet page."""

from chairapp.elements.offline import Offline


class ChairFrame(Offline, component="tm_chair.js"):
    """The strip along the top, and below it the one page that the address names."""
