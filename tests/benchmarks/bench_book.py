"""A book of a million events: the state they add up to, and a return written into it.

Run: ``python tests/benchmarks/bench_book.py [number of events]``. A fifth of the events enter
anchors, the others are looks, measurements, proof tests and placings of fifteen years, some taken
back: all synthetic. The peer replays the same events one by one in plain Python (rules of looks
and placings alone, so it does less). The peak is that of a process that only derives the state.
"""

import datetime as dt
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmarks.watching import own_peak_mb
from helpers.figures import figure
from saltreach import read_register
from saltreach.records.book import open_book, start_book
from saltreach.records.events import Event
from saltreach.records.state import state_of

NOW = dt.datetime(2026, 11, 25, 12)
QUICK = {"count": 5000}
METALS = ("316", "304", "zinc-plated steel", "titanium")


def register_of(count: int) -> pd.DataFrame:
    number = np.arange(count)
    rng = np.random.default_rng(5)
    return pd.DataFrame(
        {
            "anchor_id": [f"E{i}" for i in number],
            "crag": [f"Crag {i // 300}" for i in number],
            "sector": [f"Sector {i // 25}" for i in number],
            "lon": (8.0 + number // 25 * 1e-5 + rng.uniform(0, 1e-5, count)).round(7),
            "lat": (44.0 + number // 25 * 1e-5 + rng.uniform(0, 1e-5, count)).round(7),
            "route": [f"Route {i // 8}" for i in number],
            "kind": "bonded",
            "material": rng.choice(METALS, count),
            "diameter_mm": 12.0,
            "embedment_mm": 80.0,
            "installed_on": rng.integers(1990, 2011, count).astype(str),
            "condition": rng.integers(0, 4, count).astype(float),
            "rock_type": "limestone",
        }
    )


def events_of(count: int, anchors: pd.DataFrame) -> list[Event]:
    """Synthetic events after those of entering."""
    rng = np.random.default_rng(6)
    events: list[Event] = []
    kinds = rng.choice(
        ["looked at", "measured", "tapped", "replaced", "proof test", "taken back", "note"],
        count, p=[0.6, 0.1, 0.1, 0.05, 0.05, 0.02, 0.08],
    )  # fmt: skip
    which = rng.integers(0, len(anchors), len(kinds))
    days = np.datetime64("2011-01-02") + rng.integers(0, 5600, len(kinds))
    says = {
        "looked at": lambda i: {"condition": i % 5, "findings": "rust film; loose"},
        "measured": lambda i: {"crack_distance_mm": 50 + i % 300, "rain_washed": "yes"},
        "tapped": lambda i: {"tap_response": "dull"},
        "replaced": lambda i: {"kind": "bonded", "material": "titanium", "hole_depth_mm": 90,
                               "piece_length_mm": 80, "hole_cleaned": "yes"},
        "proof test": lambda i: {"proof_load_kn": 6, "proof_result": "held"},
        "note": lambda i: {"remark": f"note {i}"},
        "taken back": lambda i: {},
    }  # fmt: skip
    looks: list[Event] = []
    names = anchors["anchor_id"].to_numpy()
    for i, kind in enumerate(kinds.tolist()):
        back = looks[-1].event_id if kind == "taken back" and looks else ""
        name = looks[-1].anchor_id if back else names[which[i]]
        event = Event(name, kind, str(days[i]), "volunteer", says[kind](i), f"r{i}", back)
        events.append(event)
        if kind == "looked at":
            looks.append(event)
    return events


def replayed(events: pd.DataFrame) -> dict[str, dict]:
    """The same by one event after the other."""
    dead = set()
    for row in reversed(list(zip(events["event_id"], events["replaces"], strict=True))):
        if row[1] and row[0] not in dead:
            dead.add(row[1])
    state: dict[str, dict] = {}
    ordered = sorted(
        zip(events["happened_on"].where(events["kind"] != "entered", ""), events["seq"],
            events["event_id"], events["anchor_id"],
            events["kind"], events["says"], strict=True)
    )  # fmt: skip
    for day, _, key, anchor, kind, says in ordered:
        if key in dead:
            continue
        said = json.loads(says)
        if kind == "entered":
            state[anchor] = dict(said)
        elif kind in ("looked at", "measured", "tapped", "replaced", "proof test"):
            row = state.setdefault(anchor, {})
            if kind == "replaced":
                for name in ("kind", "material", "diameter_mm", "embedment_mm", "condition"):
                    row.pop(name, None)
                row["installed_on"] = day
            if kind in ("looked at", "replaced"):
                row["last_inspected_on"] = day
            row.update(said)
    return state


def derive(file: str) -> None:
    """In a process of its own, for its peak."""
    events = open_book(file).events()
    start = time.perf_counter()
    state = state_of(events)
    seconds = time.perf_counter() - start
    print(f"{len(events)} {len(state)} {seconds:.2f} {own_peak_mb() / 1e3:.2f}")


def measures(count=1_000_000):
    """A book of so many events.

    Yields
    ------
    dict
        what, count, seconds, peer, peer_seconds, peak_mb, note.
    """
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "book.gpkg"
        anchors = register_of(count // 5)
        register = read_register(anchors)
        start = time.perf_counter()
        book = start_book(file, register, who="bench", now=NOW)
        seconds = time.perf_counter() - start
        figure("book / start", f"{len(anchors):,} anchors in {seconds:.0f} s")
        yield {"what": "book started, anchors", "count": len(anchors), "seconds": seconds}
        events = events_of(count - len(anchors), anchors)
        start = time.perf_counter()
        book.append(events, now=NOW)
        seconds = time.perf_counter() - start
        size = f"{file.stat().st_size / 1e6:.0f} MB"
        figure("book / written", f"{len(events):,} events in {seconds:.0f} s, {size}")
        yield {"what": "events written", "count": len(events), "seconds": seconds, "note": size}
        del events
        done = subprocess.run(
            [sys.executable, __file__, "derive", str(file)], capture_output=True, text=True,
            check=True,
        )  # fmt: skip
        held, anchors, seconds, peak = done.stdout.split()
        figure("book / state", f"{int(held):,} events to {int(anchors):,} anchors in {seconds} s, "
               f"peak {peak} GB")  # fmt: skip
        frame = book.events()
        start = time.perf_counter()
        state = replayed(frame)
        peer = time.perf_counter() - start
        figure("book / replay", f"the same events one by one in plain Python: {peer:.1f} s")
        got = state_of(frame).set_index("anchor_id")["last_inspected_on"]
        same = got.fillna("").to_dict() == {
            name: state[name].get("last_inspected_on", "") for name in got.index
        }
        agree = f"both agree on the last look of every anchor: {same}"
        print(agree)
        yield {
            "what": "events to the state of the anchors",
            "count": int(held),
            "seconds": float(seconds),
            "peer": "one by one in plain Python",
            "peer_seconds": peer,
            "peak_mb": float(peak) * 1e3,
            "note": f"{int(anchors):,} anchors; {agree}; the peer knows looks and placings alone",
        }
        some = [Event(f"E{i * 7}", "looked at", "2026-11-20", "v", {"condition": 1})
                for i in range(30)]  # fmt: skip
        start = time.perf_counter()
        book.append(some, now=NOW)
        seconds = time.perf_counter() - start
        figure("book / return", f"30 looks into that book in {seconds:.2f} s")
        yield {"what": "looks written into that book", "count": 30, "seconds": seconds}


def main() -> None:
    if sys.argv[1:2] == ["derive"]:
        derive(sys.argv[2])
        return
    for _ in measures(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000):
        pass


if __name__ == "__main__":
    main()
