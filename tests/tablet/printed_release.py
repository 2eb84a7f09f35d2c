"""Prints the release a fresh process builds, as JSON: the manifest, the page and every file's text.

python -m tests.tablet.printed_release [--mark TEXT]
"""

import asyncio
import json
import sys

import httpx
from fastapi import FastAPI
from nicegui import ui

from chairapp.tablet import Author, add_tablet
from tests.tablet import stand_in


def application(build=None, words="{}", **options) -> FastAPI:
    """A node of nothing but the tablet page; `build` authors it, the stand-in when left out."""
    app = FastAPI()
    add_tablet(app, author=Author(build or stand_in.build, lambda: words), **options)
    ui.run_with(app, tailwind="--tailwind" in sys.argv, show_welcome_message=False)
    return app


async def printed(app: FastAPI) -> dict:
    async with app.router.lifespan_context(app):
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
            manifest = (await client.get("/chair/release.json")).json()
            answers = {
                url: await client.get(url) for url in [*(asset["url"] for asset in manifest["assets"]), "/sw.js"]
            }
            again = await client.get("/chair", headers={"If-None-Match": answers["/chair"].headers["etag"]})
            missing = await client.get("/chair/files/0000000000000000/old.js")
    return {
        "manifest": manifest,
        "texts": {url: answer.content.decode("latin-1") for url, answer in answers.items()},
        "headers": {url: dict(answer.headers) for url, answer in answers.items()},
        "statuses": {"again": again.status_code, "missing": missing.status_code},
        "missing": missing.json(),
    }


if __name__ == "__main__":
    marks = sys.argv[sys.argv.index("--mark") + 1 :][:1] if "--mark" in sys.argv else [""]
    print(json.dumps(asyncio.run(printed(application(lambda: stand_in.build(marks[0]))))))
