"""The manager's pages of exports behind doors that believe the cookie `person`: python -m tests.export.site DATA PORT.

A process of its own: NiceGUI's application is one a process, and other tests have theirs.
"""

import sys
from pathlib import Path

import uvicorn
from fastapi import FastAPI, Request
from markupsafe import Markup
from nicegui import ui

from chairapp.clinic import Person
from chairapp.elements.frame import Frame, html
from chairapp.node.access_log import AccessLog
from chairapp.node.exporting import add_exports
from chairapp.node.folder import open_folder
from chairapp.node.looks import noting
from chairapp.node.node import Node, open_store
from chairapp.node.settings import read_settings
from chairapp.web.guard import Guard

WAYS = (("/chair", "Walk a visit"), ("/label", "Label a box"), ("/boxes", "Boxes"), ("/audit", "Audit"))


def person_of(request):
    return Person(id=request.cookies.get("person", "mgr-1"), name="Sam Odell", role="manager")


def door(_may):
    def who(request: Request):
        return person_of(request)

    return who


def page(path, *, may):
    return ui.page(path)


def person():
    return person_of(ui.context.client.request)


def frame():
    return Frame("Clinic server", "Blue Door Practice", True, WAYS, Markup(""), person())


def make(data):
    folder = open_folder(data)
    node = Node(read_settings("clinic", data, {}, {}, {}), folder, open_store(folder))
    log = AccessLog(data / "log", 365)
    app = FastAPI()
    add_exports(app, node, log, page, door, frame)

    @noting(page, person, log, node.register)("/audit/{visit}", may=None)
    def visit(visit: str) -> None:
        html(Markup("<h1>Visit {}</h1>").format(visit))

    ui.run_with(app, title="Threemark", language="en-US", tailwind=False, show_welcome_message=False)
    app.add_middleware(Guard)
    return app


if __name__ == "__main__":
    uvicorn.run(make(Path(sys.argv[1])), port=int(sys.argv[2]), log_level="error", timeout_graceful_shutdown=2)
