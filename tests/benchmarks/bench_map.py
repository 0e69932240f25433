"""The map with 100,000 anchors in Chromium, and the plain folium markers as peer, in one run.

Run: ``python tests/benchmarks/bench_map.py [number of anchors]``. Prints the size of the file,
the time from opening it until its sectors are on the screen, and the longest frame while a mouse
drags the map. With ``--large`` in place of a number it prints what `large` finds: maps of up to
a million anchors spread over Europe, with the processor's time of the longest task of the page's
main thread while the map is moved. The region is the invented one of tests/helpers/synthetic.py,
25 anchors a sector. The peer is one `folium.Marker` for each anchor with a tooltip, its Leaflet
given to it locally; it grows until it misses the bounds. Chromium draws without a graphics card
here, and the machine may be busy: its load is printed.
"""

import json
import os
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import folium
import geopandas as gpd
import numpy as np
from playwright.sync_api import Error, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmarks.watching import own_peak_mb
from helpers import synthetic
from helpers.ensure_browser import chromium
from helpers.figures import figure
from helpers.pages import write_map
from saltreach.layers.coast import load_coast
from saltreach.outputs.html import asset_text
from saltreach.outputs.map.page import map_pieces, write_pieces

SIZE_MB, FIRST_S, FRAME_MS = 25.0, 3.0, 100.0
PEER_SIZES = (500, 1000, 2000, 5000, 10_000)
LIMIT_S = 90
COUNTS, PEER_COUNT = (5000, 100_000, 1_000_000), 5000
QUICK = {"counts": (500,), "count": 5000}
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


def spread(count: int):
    """Sectors and anchors of an invented register whose crags lie anywhere around Europe."""
    anchors = synthetic.anchors(count, 6, crags=max(1, count // 150))
    rng = np.random.default_rng(5)
    codes, names = anchors["crag"].factorize()
    lon = anchors["lon"] + rng.uniform(-3, 30, len(names))[codes]
    lat = anchors["lat"] + rng.uniform(-6, 20, len(names))[codes]
    anchors = anchors.set_geometry(gpd.points_from_xy(lon, lat, crs=4326))
    return synthetic.sectors(anchors), anchors


def _written(count: int, path: Path) -> dict:
    """What it takes to write a map, in a process of its own."""
    sectors, anchors = spread(count)
    land = gpd.GeoDataFrame(geometry=load_coast().land_shapes(-30, 25, 55, 78))
    before_mb = own_peak_mb()
    start, cpu = time.perf_counter(), time.process_time()
    write_pieces(path, map_pieces(sectors, anchors, land, synthetic.provenance(), title="Bench"))
    return {
        "seconds": time.perf_counter() - start,
        "cpu": time.process_time() - cpu,
        "peak_mb": own_peak_mb(),
        "more_mb": own_peak_mb() - before_mb,
        "sectors": len(sectors),
    }


def _written_by_peer(count: int, path: Path) -> dict:
    anchors = spread(count)[1].assign(lon=lambda a: a.geometry.x, lat=lambda a: a.geometry.y)
    start = time.perf_counter()
    folium_map(anchors, path)
    return {"seconds": time.perf_counter() - start}


def _alone(job, *given) -> dict:
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(job, *given).result()


def longest_task_ms(browser, path: Path) -> float:
    """Processor's time of the longest task of the main thread while the map is moved, ms."""
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    page.set_default_timeout(LIMIT_S * 1000)
    page.goto(path.as_uri())
    page.wait_for_function("document.readyState === 'complete'")
    page.wait_for_timeout(1500)
    browser.start_tracing(page=page, categories=["toplevel", "devtools.timeline"])
    for zoom in (None, 8.0, 11.0, 14.0, 15.5):
        if zoom is not None:
            page.evaluate(
                """(zoom) => saltreach.map.setView(
                  saltreach.boundsOf([4]).getCenter(), zoom, { animate: false })""",
                zoom,
            )
            page.wait_for_timeout(800)
        drag_ms(page)
    page.locator("#zoom-out").click()
    page.wait_for_timeout(1000)
    events = json.loads(browser.stop_tracing())["traceEvents"]
    page.close()
    main_thread = {
        (e["pid"], e["tid"])
        for e in events
        if e["name"] == "thread_name" and e["args"]["name"] == "CrRendererMain"
    }
    tasks = [
        e.get("tdur", 0) / 1000
        for e in events
        if e["name"].endswith("RunTask") and (e["pid"], e["tid"]) in main_thread
    ]
    return max(tasks)


def measures(counts: tuple[int, ...] = COUNTS, count: int = 100_000) -> Iterator[dict]:
    """What `compare` finds with `count` anchors, then what `large` does with `counts`."""
    yield from compare(count)
    yield from large(counts)


def large(counts: tuple[int, ...] = COUNTS) -> list[dict]:
    """Writing and opening maps; the peer, one folium marker an anchor, at `PEER_COUNT` only.

    Returns
    -------
    list of dict
        what, count, seconds, peer, peer_seconds, ratio, peak_mb, note; None where there is none.
    """
    found = []

    def add(what, count, seconds, peer_seconds, peak_mb, note):
        found.append({
            "what": what, "count": count, "seconds": seconds,
            "peer": None if peer_seconds is None else "folium markers",
            "peer_seconds": peer_seconds,
            "ratio": None if peer_seconds is None else peer_seconds / seconds,
            "peak_mb": peak_mb, "note": note,
        })  # fmt: skip

    with tempfile.TemporaryDirectory() as name, sync_playwright() as driver:
        folder = Path(name)
        browser = driver.chromium.launch(executable_path=chromium(), args=ARGUMENTS)
        for count in counts:
            path = folder / f"{count}.html"
            ours = _alone(_written, count, path)
            peer_written = peer_opened = None
            if count == PEER_COUNT:
                other = folder / "peer.html"
                peer_written = _alone(_written_by_peer, count, other)["seconds"]
                peer_opened = measured(browser, other, WATCH_PEER, "() => null", ())["first_s"]
            size = f"{ours['sectors']:,} sectors, {path.stat().st_size / 1e6:.1f} MB"
            add("map written", count, ours["seconds"], peer_written, ours["peak_mb"],
                f"{size}, {ours['cpu']:.1f} s of the processor, {ours['more_mb']:.0f} MB beyond "
                "the tables")  # fmt: skip
            seen = measured(browser, path, WATCH_OURS, "() => null", ())
            task = longest_task_ms(browser, path)
            add("map opened, first picture", count, seen["first_s"], peer_opened, None,
                f"longest task of the main thread while the map is moved {task:.0f} ms of the "
                "processor")  # fmt: skip
            path.unlink()
        browser.close()
    return found


def compare(count: int) -> Iterator[dict]:
    """Ours, then the peer as it grows until it misses the bounds."""
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}; bounds: {SIZE_MB:.0f} MB, "
          f"{FIRST_S:.0f} s, {FRAME_MS:.0f} ms")  # fmt: skip

    def row(what, count, found, said):
        return {"what": f"{what}, first picture and panning", "count": count,
                "seconds": found["first_s"], "note": said}  # fmt: skip

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
        said, _ = judged(path, found)
        figure("map / ours", f"{count:,} anchors, {len(sectors):,} sectors, {said}")
        yield row("map of one region", count, found, said)
        for size in PEER_SIZES:
            path = folium_map(anchors.iloc[:size], folder / f"folium-{size}.html")
            try:
                found = measured(browser, path, WATCH_PEER, "() => null", ())
            except Error as error:
                figure("map / peer", f"{size:,} markers, stops ({str(error).splitlines()[0]})")
                break
            said, good = judged(path, found)
            figure("map / peer", f"{size:,} markers, {said}")
            yield row("plain folium markers (peer)", size, found, said)
            if not good:
                break
        browser.close()
    print(f"load at the end {os.getloadavg()[0]:.1f}")


def main() -> None:
    if "--large" in sys.argv:
        for one in large():
            print(", ".join(f"{name} {value}" for name, value in one.items() if value is not None))
        return
    for _ in compare(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000):
        pass


if __name__ == "__main__":
    main()
