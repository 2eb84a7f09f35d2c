"""The offline page: its frozen release, its service worker, its judge in a worker."""

from chairapp.tablet.errors import BundleError, ReleaseError, TabletError
from chairapp.tablet.mount import add_tablet
from chairapp.tablet.page import Author

__all__ = ["Author", "BundleError", "ReleaseError", "TabletError", "add_tablet"]
