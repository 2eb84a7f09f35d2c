"""A number or a mark at each station of the rim."""

from chairapp.elements.offline import Pad


class StationPad(Pad, component="tm_station_pad.js"):
    """Rim map and number pad: tap a place, type, the next place is offered."""
