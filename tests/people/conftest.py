"""A clinic server that is set up by its link, in this very process: what its pages and routes answer."""

from fastapi.testclient import TestClient

from chairapp.node.folder import make_folder
from chairapp.node.settings import read_settings
from chairapp.server import make_app

HOST = "127.0.0.1:8190"
MANAGER_PIN = "864209"
SET_UP = {
    "clinic": "Green Door Practice",
    "time_zone": "Europe/Lisbon",
    "chairs": "1\r\n2\r\n\r\nCare home bag",
    "label_address": "rims.example",
    "languages": "en",
    "name": "Noor Haddad",
    "pin": MANAGER_PIN,
    "again": MANAGER_PIN,
}


class Site:
    """`web()` is a browser with nothing in it."""

    def __init__(self, app):
        self.app = app
        self.link = app.state.set_up.link("this server", "")

    def web(self, **headers):
        return TestClient(self.app, f"http://{HOST}", follow_redirects=False, headers=headers)

    def set_up(self, **changes):
        web = self.web()
        code = self.link.partition("code=")[2]
        return web, web.post("/set-up", data={"code": code} | SET_UP | changes)


def make_site(folder):
    settings = read_settings("clinic", folder, {"port": "8190"}, {}, {})
    return make_app(settings, make_folder(folder, "clinic", {}))
