"""The map with 100,000 anchors in Chromium, and the plain folium markers as peer, in one run.

Run: ``python tests/benchmarks/bench_map.py [number of anchors]``. Prints the size of the file,
the time from opening it until its sectors are on the screen, and the longest frame while a mouse
drags the map. The region is the invented one of tests/helpers/synthetic.py, 25 anchors a sector.
The peer is one `folium.Marker` for each anchor with a tooltip, its Leaflet given to it locally; it
grows until it misses the bounds. Chromium draws without a graphics card here, and the machine may
be busy: its load is printed.
"""

import os
import sys
import tempfile
import time
from pathlib import Path

import folium
from playwright.sync_api import Error, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))
from helpers import synthetic
from helpers.ensure_browser import chromium
from helpers.figures import figure
from helpers.pages import write_map
from saltreach.outputs.html import asset_text

SIZE_MB, FIRST_S, FRAME_MS = 25.0, 3.0, 100.0
PEER_SIZES = (500, 1000, 2000, 5000, 10_000)
LIMIT_S = 90
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
PIXEL = (
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x06\x00\x00\x00\x1f"
    b"\x15\xc4\x89\x00\x00\x00\rIDATx\x9cc\xf8\xcf\xc0\xf0\x1f\x00\x05\x00\x01\xff\xa6\x1b\xa5\x9b"
    b"\x00\x00\x00\x00IEND\xaeB`\x82"
)
# Two frames after the map says it is ready, its picture is on the screen.
WATCH_OURS = """
new MutationObserver((_, observer) => {
  if (document.documentElement?.dataset.ready !== "yes") return;
  observer.disconnect();
  requestAnimationFrame(() => requestAnimationFrame(() => { window.seen_ms = performance.now(); }));
}).observe(document, { subtree: true, childList: true, attributes: true });
"""
WATCH_PEER = """
addEventListener("DOMContentLoaded", () => requestAnimationFrame(() =>
  requestAnimationFrame(() => { window.seen_ms = performance.now(); })));
"""
FRAMES = """
() => {
  window.frames_ms = [];
  let last = performance.now();
  const next = (now) => {
    window.frames_ms.push(now - last);
    last = now;
    window.frame_id = requestAnimationFrame(next);
  };
  window.frame_id = requestAnimationFrame((now) => { last = now; next(now); });
}
"""


def answer(route):
    """Every request of the peer is answered here; nothing leaves the machine."""
    url = route.request.url
    if url.startswith("file:"):
        route.continue_()
    elif url.endswith(("leaflet.js", "leaflet.css")):
        kind = "text/javascript" if url.endswith("js") else "text/css"
        route.fulfill(body=asset_text(f"map/{url.rsplit('/', 1)[1]}"), content_type=kind)
    elif url.endswith(".png"):
        route.fulfill(body=PIXEL, content_type="image/png")
    else:
        route.fulfill(body="", content_type="text/plain")


def drag_ms(page) -> list[float]:
    """Times of all frames while a mouse drags the map there and back, ms."""
    box = page.locator(".folium-map").bounding_box()
    x, y = box["x"] + box["width"] * 0.4, box["y"] + box["height"] * 0.5
    page.mouse.move(x, y)
    page.mouse.down()
    page.evaluate(FRAMES)
    pane = ".leaflet-map-pane"
    at_start, moved_px = page.locator(pane).bounding_box(), 0.0
    for step in range(60):
        away = step if step < 30 else 60 - step
        page.mouse.move(x + away * 9, y + away * 4)
        if step == 30:
            moved_px = page.locator(pane).bounding_box()["x"] - at_start["x"]
        time.sleep(0.012)
    frames = page.evaluate("() => (cancelAnimationFrame(window.frame_id), window.frames_ms)")
    page.mouse.up()
    if abs(moved_px) < 20:
        raise SystemExit(f"the map moved by {moved_px:.0f} pixels only: nothing was measured")
    page.wait_for_timeout(600)
    return frames[1:]


def measured(browser, path: Path, watch: str, zoom_to: str, zooms: tuple[float, ...]) -> dict:
    """First picture and longest frames of one file."""
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    context.set_default_timeout(LIMIT_S * 1000)
    context.route("**/*", answer)
    page = context.new_page()
    page.add_init_script(watch)
    try:
        page.goto(path.as_uri())
        while page.evaluate("window.seen_ms ?? null") is None:
            page.wait_for_timeout(50)
        first_s = page.evaluate("window.seen_ms") / 1000
        frames = {"whole region": drag_ms(page)}
        for zoom in zooms:
            page.evaluate(zoom_to, zoom)
            page.wait_for_timeout(800)
            frames[f"zoom {zoom:g}"] = drag_ms(page)
    finally:
        context.close()
    return {"first_s": first_s, "longest": {name: max(ms) for name, ms in frames.items()},
            "frames": sum(map(len, frames.values()))}  # fmt: skip


def judged(path: Path, found: dict) -> tuple[str, bool]:
    """What was found in words, and whether it keeps the bounds."""
    size_mb = path.stat().st_size / 1e6
    worst = max(found["longest"].values())
    good = size_mb < SIZE_MB and found["first_s"] < FIRST_S and worst < FRAME_MS
    longest = ", ".join(f"{where} {ms:.0f}" for where, ms in found["longest"].items())
    said = (
        f"{size_mb:.1f} MB, first picture {found['first_s']:.2f} s, longest frame while "
        f"panning {worst:.0f} ms ({longest}; {found['frames']} frames): "
        f"{'within' if good else 'MISSES'} the bounds"
    )
    return said, good


def folium_map(anchors, path: Path) -> Path:
    """The plain way: one marker an anchor."""
    region = folium.Map(location=[43.4, -5.5], zoom_start=8, tiles=None)
    for row in anchors.itertuples():
        folium.Marker([row.lat, row.lon], tooltip=f"{row.anchor_id} {row.risk_band}").add_to(region)
    region.save(str(path))
    return path


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; bounds: {SIZE_MB:.0f} MB, "
          f"{FIRST_S:.0f} s, {FRAME_MS:.0f} ms")  # fmt: skip
    with tempfile.TemporaryDirectory() as name, sync_playwright() as driver:
        folder = Path(name)
        browser = driver.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        anchors = synthetic.anchors(count, 6, crags=max(1, count // 150))
        sectors = synthetic.sectors(anchors)
        start = time.perf_counter()
        path = write_map(sectors, anchors, synthetic.land(), synthetic.provenance(),
                         folder / "ours.html", title="Bench")  # fmt: skip
        print(f"written in {time.perf_counter() - start:.1f} s")
        zoom_to = """(zoom) => saltreach.map.setView(
          saltreach.boundsOf([40]).getCenter(), zoom, { animate: false })"""
        found = measured(browser, path, WATCH_OURS, zoom_to, (11.0, 15.0))
        figure(
            "map / ours", f"{count:,} anchors, {len(sectors):,} sectors, {judged(path, found)[0]}"
        )
        for size in PEER_SIZES:
            path = folium_map(anchors.iloc[:size], folder / f"folium-{size}.html")
            try:
                found = measured(browser, path, WATCH_PEER, "() => null", ())
            except Error as error:
                figure("map / peer", f"{size:,} markers, stops ({str(error).splitlines()[0]})")
                break
            said, good = judged(path, found)
            figure("map / peer", f"{size:,} markers, {said}")
            if not good:
                break
        browser.close()
    print(f"load at the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
