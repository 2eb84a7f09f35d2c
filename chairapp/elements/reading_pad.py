"""Several readings of one thing."""

from chairapp.elements.offline import Pad


class ReadingPad(Pad, component="tm_reading_pad.js"):
    """Number pad with every reading of the round, its mean and its spread; each reading can be withdrawn."""
