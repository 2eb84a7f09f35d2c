"""Who is at this tablet, and to which clinic the tablet belongs."""

from chairapp.elements.offline import Page


class SignIn(Page, component="tm_sign_in.js"):
    """Large buttons with the names of the clinic document's staff, then a pad for the PIN."""


class PairTablet(Page, component="tm_pair.js"):
    """How a tablet comes to a clinic: by a one-time code. And what becomes of one that the clinic removed."""
