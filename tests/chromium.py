"""The browser of the tests: Debian's chromium, without the calls home that it makes by itself."""

CHROMIUM = "/usr/bin/chromium"
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
