"""One number."""

from chairapp.elements.offline import Pad


class NumberPad(Pad, component="tm_number_pad.js"):
    """The same number pad for an item whose latest number counts."""
