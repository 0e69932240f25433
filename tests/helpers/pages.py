"""Pages for the tests: the map of some frames, and a watch on what a page does in a browser."""

from __future__ import annotations

from html.parser import HTMLParser

from saltreach.folders.files import atomic_write
from saltreach.outputs.map.page import map_page

DESKTOP = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}


class Page(HTMLParser):
    """Elements with their attributes, and the text of script elements."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.scripts, self._open = [], {}, None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self._open = (
            dict(attrs).get("id", f"script{len(self.scripts)}") if tag == "script" else None
        )

    def handle_data(self, data):
        if self._open:
            self.scripts[self._open] = self.scripts.get(self._open, "") + data

    def handle_endtag(self, tag):
        if tag == "script":
            self._open = None


def write_map(sectors, anchors, land, provenance, path, **how):
    """The map of tables that no assessment made."""
    return atomic_write(path, map_page(sectors, anchors, land, provenance, **how))


def watch(page, troubles, *, allow_tiles=False):
    """Notes every request, console message, error or dialog of a page."""

    def on_request(request):
        if not request.url.startswith(("file:", "data:", "blob:")) and not allow_tiles:
            troubles.append(f"request {request.url}")

    page.on("request", on_request)
    page.on("pageerror", lambda error: troubles.append(f"error {error}"))
    page.on("dialog", lambda dialog: (troubles.append("dialog"), dialog.dismiss()))
    page.on(
        "console",
        lambda message: None if allow_tiles else troubles.append(f"console {message.text}"),
    )
