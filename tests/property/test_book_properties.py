"""Books, whatever happens: what is written step by step is what all events add up to."""

import datetime as dt
import json
import tempfile
from pathlib import Path

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from helpers.book_world import NOW, ROW, register
from saltreach.records.book import open_book, start_book
from saltreach.records.book_check import check_book
from saltreach.records.events import Event, frame_of
from saltreach.records.state import live, state_of

ANCHORS = ("A1", "A2", "A3", "N1")
SAYS = {
    "entered": {**ROW, "zone": "east"},
    "looked at": {"condition": 3, "findings": "loose; rust film", "seepage": "water"},
    "tapped": {"tap_response": "hollow"},
    "measured": {"crack_distance_mm": 90, "rain_washed": "no"},
    "corrected": {"crag": "Punta Negra", "owner": None, "note of mine": "x"},
    "placed": {"kind": "bonded", "crag": "P", "sector": "S", "lon": -3.8, "lat": 43.51},
    "replaced": {"kind": "bonded", "material": "titanium", "hole_depth_mm": 70,
                 "piece_length_mm": 80},
    "proof test": {"proof_load_kn": 6},
    "removed": {}, "pulled to failure": {}, "closed": {}, "reopened": {}, "note": {"remark": "x"},
}  # fmt: skip
DAYS = st.sampled_from(["2023", "2024-05", "2024-05-01", "2025-01-01", "2026-02-28", "2026-03-02"])


@st.composite
def stories(draw):
    """Events of a few anchors, some of which replace or take back earlier ones."""
    told: list[Event] = []
    for number in range(draw(st.integers(1, 14))):
        kind = draw(st.sampled_from([*SAYS, "taken back", "taken back"]))
        replaces = ""
        if told and (kind == "taken back" or draw(st.booleans())):
            replaces = draw(st.sampled_from(told)).event_id
        says = dict(SAYS.get(kind, {}))
        if kind == "proof test":
            says["proof_result"] = draw(st.sampled_from(["held", "moved", "failed", None]))
        names = draw(st.sets(st.sampled_from(sorted(says)))) if says and kind != "entered" else says
        told.append(
            Event(draw(st.sampled_from(ANCHORS)), kind, draw(DAYS), "Bea",
                  {name: says[name] for name in names}, f"r{number}", replaces)
        )  # fmt: skip
    return told


_STARTED: list[bytes] = []


def a_book(folder: str):
    file = Path(folder) / "b.gpkg"
    if not _STARTED:
        start_book(file, register(), who="Ana", now=NOW)
        _STARTED.append(file.read_bytes())
    file.write_bytes(_STARTED[0])
    return open_book(file)


@given(told=stories(), cuts=st.lists(st.integers(0, 14), max_size=3), again=st.booleans())
def test_step_by_step_is_the_same_as_all_at_once(told, cuts, again):
    with tempfile.TemporaryDirectory() as folder:
        book = a_book(folder)
        before = book.checksum
        edges = sorted({0, *cuts, len(told)})
        for first, last in zip(edges, edges[1:], strict=False):
            book.append(told[first:last], now=NOW)
            if again:  # a return that comes twice
                assert book.append(told[first:last], now=NOW).new == 0
        assert check_book(book).whole, check_book(book)
        layer = pd.DataFrame(book.anchors()).drop(columns="geometry")
        pd.testing.assert_frame_equal(layer, book.derived())
        # whatever lives is taken back: the register is as it was, byte for byte
        while True:
            events = book.events()
            alive = events[live(events) & (events["kind"] != "taken back")]
            alive = alive[alive["record_id"] != ""]
            if alive.empty:
                break
            day = f"2027-01-{len(events) % 28 + 1:02d}"
            book.append(
                [Event(row.anchor_id, "taken back", day, "Ana", {}, f"t{len(events)}",
                       row.event_id) for row in alive.itertuples()], now=NOW,
            )  # fmt: skip
        assert book.checksum == before


@given(told=stories(), seed=st.integers(0, 99))
def test_the_order_of_the_frame_is_irrelevant(told, seed):
    frame = frame_of(told)
    mixed = frame.sample(frac=1, random_state=seed)
    pd.testing.assert_frame_equal(state_of(mixed), state_of(frame))


def alive_by_hand(events: list[Event]) -> list[bool]:
    """Each event asks those that replace it; one that is itself corrected still replaces."""

    def stands(event: Event) -> bool:
        return not any(
            other.replaces == event.event_id
            and "taken back" in (other.kind, event.kind)
            and stands(other)
            for other in events
        )

    def lives(event: Event) -> bool:
        return not any(other.replaces == event.event_id and stands(other) for other in events)

    return [lives(event) for event in events]


def replayed(events: list[Event], on: str) -> dict[str, dict]:
    """What is in place, condition, closing, and the last look, one event after the other."""
    state: dict[str, dict] = {}
    order = []
    for seq, (event, alive) in enumerate(zip(events, alive_by_hand(events), strict=True)):
        day = (event.happened_on + "-01-01")[:10]
        if not alive or day > on:
            continue
        if event.kind == "entered":
            dates = [event.says.get(n) for n in ("installed_on", "last_inspected_on")]
            day = max((d + "-01-01")[:10] for d in dates if d)
        order.append((day, seq, event))
    for _, _, event in sorted(order, key=lambda one: one[:2]):
        row = state.setdefault(event.anchor_id, {})
        says = json.loads(event.says_json)
        if event.kind == "entered":
            row.clear()
            row.update(says, here=True)
        elif event.kind in ("placed", "replaced"):
            for name in ("condition", "closed_on", "material", "diameter_mm"):
                row.pop(name, None)
            row.update(says, here=True, installed_on=event.happened_on,
                       last_inspected_on=event.happened_on)  # fmt: skip
        elif event.kind in ("looked at", "tapped", "measured", "corrected"):
            row.update(says)
            if event.kind == "looked at":
                row["last_inspected_on"] = event.happened_on
        elif event.kind == "proof test" and says.get("proof_result") in ("moved", "failed"):
            row["condition"] = 4
        elif event.kind in ("removed", "pulled to failure"):
            row["here"] = False
        elif event.kind in ("closed", "reopened"):
            row["closed_on"] = event.happened_on if event.kind == "closed" else None
    return {
        name: row
        for name, row in state.items()
        if row.get("here") and all(row.get(n) is not None for n in ("crag", "sector", "lon", "lat"))
    }


@given(told=stories(), on=st.sampled_from(["2023-06-01", "2024-05-01", "2026-03-01", "2030-01-01"]))
def test_the_state_is_that_of_a_plain_replay(told, on):
    expected = replayed(told, on)
    table = state_of(frame_of(told), on=dt.date.fromisoformat(on)).set_index("anchor_id")
    assert set(table.index) == set(expected)
    for name in ("condition", "closed_on", "installed_on", "last_inspected_on", "crag",
                 "diameter_mm", "crack_distance_mm"):  # fmt: skip
        found = {a: None if pd.isna(v) else v for a, v in table[name].items()}
        assert found == {a: row.get(name) for a, row in expected.items()}, name
