"""Free text."""

from chairapp.elements.offline import Pad


class TextPad(Pad, component="tm_text_pad.js"):
    """A field for a few words; what is typed survives a reload."""
