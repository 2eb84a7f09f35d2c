"""Any number of things out of a list."""

from chairapp.elements.offline import Pad


class ListPad(Pad, component="tm_list_pad.js"):
    """Large buttons that go on and off."""
