"""What can go wrong while the offline page is made, as one tree. Each is raised at start-up and stops the node.

TabletError
  ReleaseError   the page or one of its files cannot be frozen
  BundleError    a file of the judge would not run in the browser
"""


class TabletError(Exception):
    """`str(error)` is one line: which file or element, and what is wrong with it."""


class ReleaseError(TabletError):
    """The page or one of its files cannot be frozen."""


class BundleError(TabletError):
    """A file of the judge would not run in the browser."""
