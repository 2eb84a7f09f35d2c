"""One of several answers."""

from chairapp.elements.offline import Pad


class ChoicePad(Pad, component="tm_choice_pad.js"):
    """Large answer buttons, none selected beforehand."""
