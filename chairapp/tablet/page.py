"""The page that is frozen: what of `/chair` is the same for every clinic, every visit and every tablet.

`chairapp.elements.chair` authors it: `build()` puts the elements on the page, `words()` gives the page's own texts as
JSON ({"en": {key: text}}), handed to the elements as `words` of the page's `tm-config`:

    JSON.parse(document.getElementById("tm-config").textContent)
    {"protocol": 1, "release": version, "words": {...}, "judge": {"worker", "brython", "bundle"}, "worker": "/sw.js", "scope": "/chair"}

Modules named `tm_*.js` in `sync/browser`, `chairapp/tablet` and `chairapp/elements` may import one another by their
stems (`import * as replica from "tm_replica"`); the release finds them by their import lines. Inline event handlers and
`js_handler` do not run on this page: its policy allows no evaluated code. Stylesheets are added with `ui.add_css` or a
`<link>` in `ui.add_head_html`.
"""
