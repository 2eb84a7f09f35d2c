"""Where the data is."""

from chairapp.elements.offline import Page


class SyncLamp(Page, component="tm_sync_lamp.js"):
    """One line that is always there: kept on this tablet, sent to the clinic, how many wait."""


class DataPage(Page, component="tm_data_page.js"):
    """The same in full, with pairing, what was refused, and a file to carry away."""
