"""A clinic server that is set up by its link, in this very process: what its pages and routes answer."""

from contextlib import contextmanager

from fastapi.testclient import TestClient
from nicegui import app as pages

from chairapp.node.folder import make_folder
from chairapp.node.settings import read_settings
from chairapp.server import make_app

HOST = "127.0.0.1:8190"


class Site:
    """`web()` is a browser with nothing in it."""

    def __init__(self, app, running):
        self.app = app
        self._running = running
        self.doors = app.state.doors

    def web(self, **headers):
        web = TestClient(self.app, f"http://{HOST}", follow_redirects=False, headers=headers)
        web.portal = self._running.portal
        return web


@contextmanager
def site_of(folder, role="clinic", **flags):
    """A node in this process, while it runs."""
    with app_of(folder, role, **flags) as app, TestClient(app, f"http://{HOST}") as running:
        yield Site(app, running)


@contextmanager
def app_of(folder, role="clinic", **flags):
    """A node's application that does not run. NiceGUI has one application a process: another may follow."""
    before = [*pages.routes], [*pages.user_middleware]
    try:
        yield make_app(read_settings(role, folder, {"port": "8190"} | flags, {}, {}), make_folder(folder, role, {}))
    finally:
        pages.routes[:], pages.user_middleware[:] = before
        pages.middleware_stack = None
