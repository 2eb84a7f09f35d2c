"""The end of a visit."""

from chairapp.elements.offline import Offline


class Review(Offline, component="tm_review.js"):
    """Everything found, accepted and changed, and the signature under it."""


class CaseBox(Offline, component="tm_case_box.js"):
    """The box code shown large, and what the label will say."""
