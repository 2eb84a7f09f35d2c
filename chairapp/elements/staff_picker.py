"""Who writes."""

from chairapp.elements.offline import Page


class StaffPicker(Page, component="tm_staff_picker.js"):
    """Large buttons with the names of the clinic document's staff."""
