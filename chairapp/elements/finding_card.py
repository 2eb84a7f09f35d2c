"""What the judge says of a step, and going on all the same."""

from chairapp.elements.offline import Page


class FindingCard(Page, component="tm_finding_card.js"):
    """Verdict in word and shape, what it means, what to do, where that is known from."""


class Accept(Page, component="tm_accept.js"):
    """Accepts a step that is off or unsure, with a reason."""
