"""Visits: those there are, and a new one."""

from chairapp.elements.offline import Page


class VisitList(Page, component="tm_visit_list.js"):
    """Home: a new visit, the open ones with the step they reached, the signed ones.

    :param steps: [{"id": step, "screens": [items]}], to tell the step an item belongs to
    """


class NewVisit(Page, component="tm_new_visit.js"):
    """Opens a visit: at which chair, in which language."""
